package web

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dentcount/photo"
)

// tinyPNG is a PNG whose header claims w × h and whose pixels are missing.
func tinyPNG(t *testing.T, w, h uint32) []byte {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		binary.Write(&b, binary.BigEndian, uint32(len(data)))
		body := append([]byte(kind), data...)
		b.Write(body)
		binary.Write(&b, binary.BigEndian, crc32.ChecksumIEEE(body))
	}
	head := binary.BigEndian.AppendUint32(nil, w)
	head = binary.BigEndian.AppendUint32(head, h)
	chunk("IHDR", append(head, 8, 2, 0, 0, 0))
	chunk("IDAT", []byte{0x78, 0x9c, 0x63, 0x60, 0x60, 0x60, 0, 0, 0, 4, 0, 1})
	chunk("IEND", nil)
	return b.Bytes()
}

// send asks with these headers and gives status and body.
func send(t *testing.T, method, url string, body io.Reader, headers ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequest(method, url, body)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	c := fresh()
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	resp, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp, string(b)
}

// Every answer carries the headers that keep a page to itself, and its policy
// allows nothing inline.
func TestHeaders(t *testing.T) {
	s := startServer(t, nil)
	for _, path := range []string{"/", "/app.css", "/js/app.js", "/api/v1/looms", "/nothing", "/api/v1/photos/x"} {
		r, _ := send(t, "GET", s.url+path, nil)
		policy := r.Header.Get("Content-Security-Policy")
		if strings.Contains(policy, "unsafe") || !strings.Contains(policy, "default-src 'none'") || !strings.Contains(policy, "frame-ancestors 'none'") {
			t.Errorf("%s: policy %q", path, policy)
		}
		for k, v := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "same-origin", "X-Frame-Options": "DENY"} {
			if got := r.Header.Get(k); got != v {
				t.Errorf("%s: %s is %q, want %q", path, k, got, v)
			}
		}
		if r.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: another site may read it", path)
		}
	}
	html, err := embedded.ReadFile("assets/index.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, inline := range []string{"style=", "onclick", "onload", "<style", "javascript:", "http://", "https://"} {
		if bytes.Contains(html, []byte(inline)) {
			t.Errorf("the page holds %q", inline)
		}
	}
}

// A change from another site, or by a form that cannot set a header, is refused
// and changes nothing; so is reading from another site's script.
func TestForeignPagesAreRefused(t *testing.T) {
	s := startServer(t, nil)
	loom := `{"weaving_width_in": 20}`
	for name, headers := range map[string][]string{
		"another origin":                 {"Origin", "http://evil.example", mark, "1"},
		"another origin, same host name": {"Origin", "http://127.0.0.1:1", mark, "1"},
		"no origin to tell":              {"Origin", "null", mark, "1"},
		"said to be cross-site":          {"Sec-Fetch-Site", "cross-site", mark, "1"},
		"said to be same-site":           {"Sec-Fetch-Site", "same-site", mark, "1"},
		"a form without the header":      {"Origin", s.url},
		"nothing at all":                 {},
	} {
		r, body := send(t, "PUT", s.url+"/api/v1/looms/x", strings.NewReader(loom), append(headers, "Content-Type", "application/json")...)
		if r.StatusCode != http.StatusForbidden {
			t.Errorf("%s: status %d: %s", name, r.StatusCode, body)
		}
	}
	if looms, err := s.shelf.Looms(context.Background()); err != nil || len(looms) > 0 {
		t.Errorf("a refused request changed the shelf: %v, %v", looms, err)
	}
	for _, path := range []string{"/api/v1/looms", "/js/app.js"} {
		if r, _ := send(t, "GET", s.url+path, nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"); r.StatusCode != http.StatusForbidden {
			t.Errorf("%s is read by another site: %d", path, r.StatusCode)
		}
	}
	// A link from elsewhere opens the page; what it asks for does not open.
	if r, _ := send(t, "GET", s.url+"/", nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate"); r.StatusCode != 200 {
		t.Errorf("a link to the page: %d", r.StatusCode)
	}
	if r, _ := send(t, "GET", s.url+"/api/v1/parts", nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate"); r.StatusCode != http.StatusForbidden {
		t.Errorf("a link into the interface: %d", r.StatusCode)
	}
	// A question whether a foreign page may send the header gets no yes.
	r, _ := send(t, "OPTIONS", s.url+"/api/v1/looms/x", nil, "Origin", "http://evil.example", "Access-Control-Request-Method", "PUT", "Access-Control-Request-Headers", mark)
	if r.StatusCode < 400 || r.Header.Get("Access-Control-Allow-Headers") != "" {
		t.Errorf("a preflight got %d %v", r.StatusCode, r.Header)
	}
	if r, _ := send(t, "PUT", s.url+"/api/v1/looms/x", strings.NewReader(loom), mark, "1", "Content-Type", "application/json", "Origin", s.url, "Sec-Fetch-Site", "same-origin"); r.StatusCode != 200 {
		t.Errorf("our own page: %d", r.StatusCode)
	}
}

// A foreign name that was pointed at this machine is not answered.
func TestOnlyKnownNames(t *testing.T) {
	s := startServer(t, nil)
	port := s.url[strings.LastIndex(s.url, ":"):]
	for host, want := range map[string]int{
		"localhost" + port: 200, "127.0.0.1" + port: 200, "LOCALHOST": 200, "[::1]" + port: 200,
		"evil.example" + port: 421, "127.0.0.1.evil.example": 421, "192.168.0.1" + port: 421, "": 421,
	} {
		if host == "" {
			continue // net/http fills it in
		}
		if r, _ := send(t, "GET", s.url+"/", nil, "Host", host); r.StatusCode != want {
			t.Errorf("as %q: %d, want %d", host, r.StatusCode, want)
		}
	}
}

// No path that comes from outside reaches the file system, neither in an
// address nor as the name of a photo.
func TestNoPathReachesTheFiles(t *testing.T) {
	s := startServer(t, nil)
	dir := t.TempDir()
	secret := filepath.Join(dir, "secret.txt")
	if err := os.WriteFile(secret, []byte("not for the page"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		secret, "/" + secret, "/../../../../../../../../" + secret, "/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd", "/..%2f..%2f..%2fetc%2fpasswd", "/js/..%5c..%5cgo.mod",
		"/js/../server.go", "/openapi.yaml", "/assets/index.html", "/.", "/js", "/js/", "/app.css%00.html", "/./app.css/..",
	} {
		resp := raw(t, s, "GET "+path+" HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
		status := strings.SplitN(resp, " ", 3)[1]
		if strings.Contains(resp, "not for the page") || strings.Contains(resp, "root:") || strings.Contains(resp, "package web") || status == "200" {
			t.Errorf("%s: %s", path, resp[:min(len(resp), 200)])
		}
	}
	c := newClient(t, s)
	before := files(t, dir)
	t.Chdir(dir)
	for _, name := range []string{"../../etc/passwd", secret, "..\\x.jpg", "-", "CON", "$(touch x)", "<img src=x onerror=alert(1)>.jpg"} {
		req := c.request("POST", "/photos?wait=30", tinyPNG(t, 1, 1))
		q := req.URL.Query()
		q.Set("name", name)
		req.URL.RawQuery = q.Encode()
		r, err := fresh().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != 201 {
			t.Errorf("a photo named %q: %d", name, r.StatusCode)
		}
	}
	if after := files(t, dir); after != before {
		t.Errorf("files before: %s, after: %s", before, after)
	}
	for _, name := range []string{"a%00b", "%ff%fe", "%C3%28"} {
		c.ask(422, "POST", "/photos?name="+name, tinyPNG(t, 1, 1))
	}
}

func files(t *testing.T, dir string) string {
	t.Helper()
	es, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range es {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// raw sends bytes as they are and reads the whole answer.
func raw(t *testing.T, s *testServer, request string) string {
	t.Helper()
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.Write([]byte(request)); err != nil {
		t.Fatal(err)
	}
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	b, err := io.ReadAll(conn)
	if err != nil && len(b) == 0 { // a server that refuses may close while we still send
		t.Fatal(err)
	}
	return string(b)
}

// What is too large is refused before it is read, and before it is decoded.
func TestSizesAreLimited(t *testing.T) {
	s := startServer(t, func(set *Settings) { set.Limits = photo.Limits{MaxBytes: 1 << 20} })
	c := newClient(t, s)
	// Only the head of a huge upload is sent: the answer must not wait for more.
	head := "POST /api/v1/photos HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Dentcount: 1\r\nConnection: close\r\nContent-Length: %d\r\n\r\n"
	for _, n := range []int64{1<<20 + 1, 1 << 40} {
		if got := raw(t, s, fmt.Sprintf(head, n)); !strings.Contains(got, " 413 ") {
			t.Errorf("%d bytes: %s", n, got)
		}
	}
	if got := raw(t, s, "POST /api/v1/photos HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Dentcount: 1\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabcde\r\n0\r\n\r\n"); !strings.Contains(got, " 411 ") {
		t.Errorf("a body of no told length: %s", got)
	}
	c.ask(413, "POST", "/parts", `{"name": "`+strings.Repeat("x", 2*maxJSONBytes)+`"}`)
	c.ask(400, "POST", "/parts", `{"name": `)
	c.ask(400, "POST", "/parts", `{} {}`)
	if r, _ := send(t, "POST", s.url+"/api/v1/parts", strings.NewReader(`{}`), mark, "1", "Content-Type", "text/plain"); r.StatusCode != 415 {
		t.Errorf("a form's content type: %d", r.StatusCode)
	}
	if got := raw(t, s, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: "+strings.Repeat("x", 64<<10)+"\r\n\r\n"); !strings.Contains(got, " 431 ") {
		t.Errorf("a head of 64 KiB: %s", got[:min(len(got), 100)])
	}
	// A header that claims 3.6 thousand megapixels costs next to nothing.
	before := rssMiB(t)
	p := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=30", tinyPNG(t, 60000, 60000)))
	if p.Problem == nil || p.Problem.Status != 413 {
		t.Errorf("%+v", p.Problem)
	}
	if grown := rssMiB(t) - before; grown > 50 {
		t.Errorf("refusing it took %d MiB", grown)
	}
}

// An upload that dawdles is ended, and its room is free again.
func TestSlowUploadIsEnded(t *testing.T) {
	s := startServer(t, func(set *Settings) { set.UploadWithin = 300 * time.Millisecond })
	start := time.Now()
	got := raw(t, s, "POST /api/v1/photos HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Dentcount: 1\r\nConnection: close\r\nContent-Length: 1000\r\n\r\nabc")
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("it took %v", took)
	}
	if got != "" && !strings.Contains(got, " 400 ") {
		t.Errorf("answered %s", got)
	}
	s.waitIdle(t)
}

// waitIdle waits until no file is in memory.
func (s *testServer) waitIdle(t *testing.T) {
	t.Helper()
	until := time.Now().Add(10 * time.Second)
	for {
		s.photos.mu.Lock()
		n := s.photos.waiting
		s.photos.mu.Unlock()
		if n == 0 {
			return
		}
		if time.Now().After(until) {
			t.Fatalf("%d bytes of files are still held", n)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// Uploads that are broken off, or forgotten while they wait, free what they held.
func TestCancelledUploadsAreFreed(t *testing.T) {
	s := startServer(t, func(set *Settings) { set.Jobs = 1 })
	c := newClient(t, s)
	gate := make(chan struct{})
	blocked := s.queue.add(context.Background(), true, func(context.Context) { <-gate })
	var ids []string
	for i := range 3 {
		p := as[photoJSON](t, c.ask(201, "POST", "/photos", readPhoto(t, "no-ruler.jpg")))
		if p.State != stateWaiting || p.Ahead != i+1 {
			t.Errorf("photo %d: %s behind %d, want %s behind %d", i, p.State, p.Ahead, stateWaiting, i+1)
		}
		ids = append(ids, p.ID)
	}
	c.ask(204, "DELETE", "/photos/"+ids[0], nil)
	if p := as[photoJSON](t, c.ask(200, "GET", "/photos/"+ids[1], nil)); p.Ahead != 1 {
		t.Errorf("after the one before was forgotten, %d are before it, want 1", p.Ahead)
	}
	for _, id := range ids {
		c.ask(204, "DELETE", "/photos/"+id, nil)
	}
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(conn, "POST /api/v1/photos HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Dentcount: 1\r\nContent-Length: 1000000\r\n\r\nabc")
	time.Sleep(50 * time.Millisecond)
	conn.Close()
	s.waitIdle(t)
	close(gate)
	<-blocked.done
	s.photos.mu.Lock()
	defer s.photos.mu.Unlock()
	if n := len(s.photos.byID); n != 0 {
		t.Errorf("%d photos are still held", n)
	}
}

// A full queue says so and when to come again.
func TestFullQueueSaysSo(t *testing.T) {
	s := startServer(t, func(set *Settings) { set.Jobs, set.MaxWaitingBytes = 1, 100<<10 })
	c := newClient(t, s)
	gate := make(chan struct{})
	blocked := s.queue.add(context.Background(), true, func(context.Context) { <-gate })
	c.ask(201, "POST", "/photos", bytes.Repeat([]byte("x"), 90<<10))
	c.ask(503, "POST", "/photos", bytes.Repeat([]byte("x"), 90<<10))
	close(gate)
	<-blocked.done
	s.waitIdle(t)
	c.ask(201, "POST", "/photos?wait=30", bytes.Repeat([]byte("x"), 90<<10))
}

// One measuring at a time for each job the server may run.
func TestQueueRunsNoMoreThanItsJobs(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	q := newQueue(ctx, 2)
	running, most := make(chan int, 100), 0
	gate := make(chan struct{})
	now := make(chan int, 1)
	now <- 0
	var jobs []*job
	for range 12 {
		jobs = append(jobs, q.add(ctx, false, func(context.Context) {
			n := <-now + 1
			now <- n
			running <- n
			<-gate
			now <- <-now - 1
		}))
	}
	if n, waiting := q.ahead(jobs[11]); !waiting || n != 11 {
		t.Errorf("the twelfth has %d before it (waiting %v), want 11", n, waiting)
	}
	most = max(<-running, <-running) // two have begun, and no third has
	close(gate)
	for _, j := range jobs {
		<-j.done
	}
	for range 10 {
		most = max(most, <-running)
	}
	if most != 2 {
		t.Errorf("%d ran at once, want 2", most)
	}
}

// EXIF place data is nowhere: not in the picture the page gets, not on the shelf.
func TestPlaceIsNotStored(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	jpg := withPlace(t, plainPhoto(t))
	p := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", jpg))
	if p.State != stateDone {
		t.Fatalf("%s %+v", p.State, p.Problem)
	}
	c.ask(201, "POST", "/parts/from-photos", map[string]any{"photos": []string{p.ID}})
	dump := filepath.Join(t.TempDir(), "copy.db")
	if err := s.shelf.Backup(context.Background(), dump); err != nil {
		t.Fatal(err)
	}
	stored, err := os.ReadFile(dump)
	if err != nil {
		t.Fatal(err)
	}
	for what, b := range map[string][]byte{"shelf": stored, "picture": c.ask(200, "GET", "/photos/"+p.ID+"/picture", nil), "overlay": c.ask(200, "GET", "/photos/"+p.ID+"/overlay", nil)} {
		if bytes.Contains(b, []byte(placeMark)) || bytes.Contains(b, []byte("Exif\x00")) {
			t.Errorf("the %s holds what EXIF said", what)
		}
	}
}

// placeMark stands in the GPS part of the EXIF that withPlace writes.
const placeMark = "GPS-AREA-NORTH-OF-THE-RIVER"

// withPlace puts an EXIF segment with a GPS IFD (GPSAreaInformation, tag 0x1c,
// Exif 2.32 table 15) behind the start of a JPEG.
func withPlace(t *testing.T, jpg []byte) []byte {
	t.Helper()
	if !bytes.HasPrefix(jpg, []byte{0xff, 0xd8}) {
		t.Fatal("no JPEG")
	}
	le := binary.LittleEndian
	tiff := []byte("II*\x00\x08\x00\x00\x00")
	entry := func(tag, kind uint16, n, v uint32) {
		tiff = le.AppendUint16(tiff, tag)
		tiff = le.AppendUint16(tiff, kind)
		tiff = le.AppendUint32(tiff, n)
		tiff = le.AppendUint32(tiff, v)
	}
	tiff = le.AppendUint16(tiff, 1)
	entry(0x8825, 4, 1, 26) // GPS IFD
	tiff = le.AppendUint32(tiff, 0)
	tiff = le.AppendUint16(tiff, 1)
	entry(0x1c, 7, uint32(len(placeMark)), 44)
	tiff = le.AppendUint32(tiff, 0)
	tiff = append(tiff, placeMark...)
	seg := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, byte((len(seg)+2)>>8), byte(len(seg)+2))
	return append(append(out, seg...), jpg[2:]...)
}

// Behind a gate nothing is served without the token; each token works once.
func TestGate(t *testing.T) {
	var nexts []string
	gate, token := NewGate(false, func(next string) { nexts = append(nexts, next) })
	s := startServer(t, func(set *Settings) { set.Gate = gate })
	for _, path := range []string{"/", "/app.css", "/mark.svg", "/js/app.js", "/api/v1/parts", "/api/v1/openapi.yaml", "/entered", "/enter/", "/enter/wrong", "/enter/" + token + "x"} {
		r, body := send(t, "GET", s.url+path, nil)
		if r.StatusCode != http.StatusUnauthorized || strings.Contains(body, "<") || len(r.Cookies()) > 0 {
			t.Errorf("%s without a token: %d %.80s", path, r.StatusCode, body)
		}
	}
	if r, _ := send(t, "POST", s.url+"/api/v1/photos", strings.NewReader("x"), mark, "1"); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("an upload without a token: %d", r.StatusCode)
	}
	if r, _ := send(t, "HEAD", s.url+EnterPath(token), nil); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("a preview of the address: %d; it must not use the token up", r.StatusCode)
	}
	r, _ := send(t, "GET", s.url+EnterPath(token), nil)
	if r.StatusCode != 200 || len(r.Cookies()) != 1 {
		t.Fatalf("the token: %d, %d cookies", r.StatusCode, len(r.Cookies()))
	}
	k := r.Cookies()[0]
	if !k.HttpOnly || k.SameSite != http.SameSiteStrictMode || strings.Contains(k.Value, token) {
		t.Errorf("the cookie is %+v", k)
	}
	if r.Header.Get("Refresh") == "" {
		t.Error("the token's page does not go on to the page")
	}
	if r, _ := send(t, "GET", s.url+"/", nil, "Cookie", k.Name+"="+k.Value); r.StatusCode != 200 {
		t.Errorf("with the cookie: %d", r.StatusCode)
	}
	if r, _ := send(t, "GET", s.url+EnterPath(token), nil); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("the token a second time: %d", r.StatusCode)
	}
	if r, _ := send(t, "GET", s.url+"/", nil, "Cookie", k.Name+"=AAAA"); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("a made-up cookie: %d", r.StatusCode)
	}
	if len(nexts) != 1 || nexts[0] == token {
		t.Fatalf("the next tokens are %q", nexts)
	}
	if r, _ := send(t, "GET", s.url+EnterPath(nexts[0]), nil); r.StatusCode != 200 || r.Cookies()[0].Value == k.Value {
		t.Errorf("the next token: %d", r.StatusCode)
	}
}

// What was not asked for in half an hour is forgotten, and past the limit of
// bytes what was asked for longest ago.
func TestPhotosAreForgotten(t *testing.T) {
	now := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	s := startServer(t, func(set *Settings) {
		set.Now = func() time.Time { return now }
		set.MaxHeldBytes = 7 << 20
	})
	c := newClient(t, s)
	jpg := plainPhoto(t) // three megapixels
	a := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", jpg))
	now = now.Add(time.Minute)
	b := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", jpg))
	now = now.Add(time.Minute)
	c.ask(200, "GET", "/photos/"+a.ID, nil) // a is now the newer one
	d := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", jpg))
	c.ask(404, "GET", "/photos/"+b.ID, nil)
	c.ask(200, "GET", "/photos/"+d.ID, nil)
	now = now.Add(31 * time.Minute)
	s.photos.trim()
	c.ask(404, "GET", "/photos/"+d.ID, nil)
}
