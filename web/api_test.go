package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
)

// client asks a server over HTTP and holds every answer, and every request that
// is meant to be right, against openapi.yaml.
type client struct {
	t      *testing.T
	s      *testServer
	router routers.Router
	doc    *openapi3.T
	asked  map[string]bool // operations that were answered well
}

func init() {
	for _, kind := range []string{"image/jpeg", "application/pdf"} {
		openapi3filter.RegisterBodyDecoder(kind, openapi3filter.FileBodyDecoder)
	}
}

func newClient(t *testing.T, s *testServer) *client {
	t.Helper()
	r, err := http.Get(s.url + "/api/v1/openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromData(b)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(doc.OpenAPI, "3.1") {
		t.Fatalf("the file says OpenAPI %s", doc.OpenAPI)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	router, err := gorillamux.NewRouter(doc)
	if err != nil {
		t.Fatal(err)
	}
	return &client{t, s, router, doc, map[string]bool{}}
}

func (c *client) request(method, path string, body any) *http.Request {
	c.t.Helper()
	var b []byte
	kind := "application/json"
	switch v := body.(type) {
	case nil:
	case []byte:
		b, kind = v, "application/octet-stream"
	case string:
		b = []byte(v)
	default:
		var err error
		if b, err = json.Marshal(v); err != nil {
			c.t.Fatal(err)
		}
	}
	r, err := http.NewRequest(method, c.s.url+apiRoot+path, bytes.NewReader(b))
	if err != nil {
		c.t.Fatal(err)
	}
	if body != nil {
		r.Header.Set("Content-Type", kind)
	}
	if method != http.MethodGet {
		r.Header.Set(mark, "test")
	}
	return r
}

// ask sends a request that must be answered with this status.
func (c *client) ask(status int, method, path string, body any) []byte {
	c.t.Helper()
	r := c.request(method, path, body)
	checked := c.request(method, path, body)
	checked.URL.Scheme, checked.URL.Host, checked.Host = "", "", ""
	found, params, err := c.router.FindRoute(checked)
	if err != nil {
		c.t.Fatalf("%s %s is not in openapi.yaml: %v", method, path, err)
	}
	in := &openapi3filter.RequestValidationInput{Request: checked, PathParams: params, Route: found,
		Options: &openapi3filter.Options{IncludeResponseStatus: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
	if err := openapi3filter.ValidateRequest(context.Background(), in); err != nil && status < 300 {
		c.t.Errorf("%s %s: the request is not as openapi.yaml has it: %v", method, path, err)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		c.t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		c.t.Fatal(err)
	}
	if resp.StatusCode != status {
		c.t.Errorf("%s %s: status %d, want %d: %s", method, path, resp.StatusCode, status, b[:min(len(b), 600)])
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: resp.StatusCode, Header: resp.Header, Body: io.NopCloser(bytes.NewReader(b)), Options: in.Options}
	if err := openapi3filter.ValidateResponse(context.Background(), out); err != nil {
		c.t.Errorf("%s %s: the answer is not as openapi.yaml has it: %v", method, path, err)
	}
	if status < 300 {
		c.asked[found.Operation.OperationID] = true
	} else {
		var p problem
		if err := json.Unmarshal(b, &p); err != nil || p.Title == "" || p.Status != status {
			c.t.Errorf("%s %s: %d without words for a person: %s", method, path, status, b)
		}
	}
	return b
}

func as[T any](t *testing.T, b []byte) T {
	t.Helper()
	var v T
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatalf("%v in %s", err, b)
	}
	return v
}

func readPhoto(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(photoFile(t, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// What the server does and what openapi.yaml says are the same operations.
func TestOpenAPIHasAllRoutes(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	var said, done []string
	for path, item := range c.doc.Paths.Map() {
		for method := range item.Operations() {
			said = append(said, method+" "+path)
		}
	}
	for _, r := range s.routes() {
		done = append(done, r.pattern)
	}
	slices.Sort(said)
	slices.Sort(done)
	if !slices.Equal(said, done) {
		t.Errorf("openapi.yaml has\n%s\nthe server has\n%s", strings.Join(said, "\n"), strings.Join(done, "\n"))
	}
}

// Every operation of the interface, as the page uses it, and every answer as
// openapi.yaml has it.
func TestInterface(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	jpg := readPhoto(t, "reed-10-025.jpg")

	// A photo: sent, asked for, mended, shown.
	p := as[photoJSON](t, c.ask(201, "POST", "/photos?name=reed-07-1.jpg&ruler_thickness_mm=1.2&wait=60", jpg))
	if p.State != stateDone || p.Name != "reed-07-1.jpg" {
		t.Fatalf("%s, %q", p.State, p.Name)
	}
	type result struct {
		Status string `json:"status"`
		Size   struct {
			Label string `json:"label"`
		} `json:"size"`
		Pitch struct {
			PerInch float64 `json:"dents_per_inch"`
		} `json:"pitch"`
		Ruler struct {
			Marks []struct {
				Value float64    `json:"value"`
				At    [2]float64 `json:"at"`
			} `json:"marks"`
		} `json:"ruler"`
		ByHand []string `json:"by_hand"`
	}
	r := as[result](t, p.Result)
	if r.Status != "answered" || r.Size.Label != "10" || p.Words.Head != "10-dent reed" {
		t.Errorf("%s %s, %q", r.Status, r.Size.Label, p.Words.Head)
	}
	if again := as[photoJSON](t, c.ask(200, "GET", "/photos/"+p.ID+"?wait=1", nil)); string(again.Result) != string(p.Result) {
		t.Error("asked for again, the photo has another answer")
	}
	marks := r.Ruler.Marks
	first, last := marks[0], marks[len(marks)-1]
	facts := map[string]any{"part": "reed", "unit": "in", "ruler_thickness_mm": 1.2,
		"scale": map[string]any{"at": [][2]float64{first.At, last.At}, "in": fmt.Sprintf("%g in", 1.25*(last.Value-first.Value))}}
	mended := as[photoJSON](t, c.ask(200, "PUT", "/photos/"+p.ID+"/facts", facts))
	m := as[result](t, mended.Result)
	if want := r.Pitch.PerInch / 1.25; m.Pitch.PerInch < 0.99*want || m.Pitch.PerInch > 1.01*want {
		t.Errorf("an inch a quarter longer by hand: %g per inch, want about %g", m.Pitch.PerInch, want)
	}
	if !slices.Equal(m.ByHand, []string{"part", "unit", "ruler-thickness", "scale"}) {
		t.Errorf("by hand: %q", m.ByHand)
	}
	back := as[photoJSON](t, c.ask(200, "PUT", "/photos/"+p.ID+"/facts", map[string]any{"drop": [][2]float64{mended.Evidence.Bands[4].At}, "add": [][2]float64{}}))
	if b := as[result](t, back.Result); !slices.Equal(b.ByHand, []string{"bands"}) || b.Size.Label != "10" {
		t.Errorf("facts are told all at once: by hand %q, %s", b.ByHand, b.Size.Label)
	}
	// A length between two ends on the ruler's own edge is what its marks say.
	length := as[struct {
		Result struct {
			Status, What string
			Length       struct{ In, U, MM float64 }
			ByHand       bool `json:"ends_by_hand"`
		}
		Words wordsJSON
	}](t, c.ask(200, "POST", "/photos/"+p.ID+"/length", map[string]any{"what": "reed-length", "ends": [][2]float64{first.At, last.At}, "marks_above_mm": 0}))
	if in := math.Abs(last.Value - first.Value); math.Abs(length.Result.Length.In/in-1) > 0.005 || !length.Result.ByHand || length.Words.Head == "" {
		t.Errorf("between marks %g in apart: %+v", in, length)
	}
	c.ask(422, "POST", "/photos/"+p.ID+"/length", map[string]any{"what": "height-of-the-loom"})
	c.ask(422, "POST", "/photos/"+p.ID+"/length", map[string]any{"what": "reed-length", "ends": [][2]float64{{-1, 0}, {5, 5}}})
	// A length over two photos along one tape, its ends found, in either order; and
	// between ends and by numbers that a person gives.
	var held [2]photoJSON
	for i := range held {
		b, err := os.ReadFile(fmt.Sprintf("../testdata/joined/bars-%d.jpg", i+1))
		if err != nil {
			t.Fatal(err)
		}
		held[i] = as[photoJSON](t, c.ask(201, "POST", fmt.Sprintf("/photos?name=bars-%d.jpg&wait=60", i+1), b))
	}
	type joinedAnswer struct {
		Result struct {
			Status string
			Length struct{ In, U float64 }
			Joined []struct{ By string }
			Ends   [][2]float64
			ByHand bool `json:"ends_by_hand"`
		}
		Shots []shotJSON
		Words wordsJSON
		Part  string `json:"part_id"`
	}
	ids := []string{held[0].ID, held[1].ID}
	join := map[string]any{"what": "heddle-bar-span", "photos": ids, "marks_above_mm": 0.3}
	ja := as[joinedAnswer](t, c.ask(200, "POST", "/lengths", join))
	if ja.Result.Status != "answered" || math.Abs(ja.Result.Length.In-10.5) > 1.0/16 || len(ja.Shots) != 2 || ja.Shots[0].Photo != ids[0] || ja.Shots[0].Ends != [2]bool{true, false} || ja.Shots[1].Ends != [2]bool{false, true} || !strings.Contains(ja.Words.Head, "10 1/2") {
		t.Errorf("joined: %+v", ja)
	}
	marks0, marks1 := ja.Shots[0].Ruler.Marks, ja.Shots[1].Ruler.Marks
	numbers := []map[string]any{{"photo": 1, "at": marks0[0].At, "number": marks0[0].Value}, {"photo": 1, "at": marks0[3].At, "number": marks0[3].Value}, {"photo": 2, "at": marks1[1].At, "number": marks1[1].Value}}
	told := as[joinedAnswer](t, c.ask(200, "POST", "/lengths", map[string]any{"what": "heddle-bar-span", "photos": ids, "marks_above_mm": 0.3, "ends": ja.Result.Ends, "numbers": numbers, "keep": true}))
	if math.Abs(told.Result.Length.In-ja.Result.Length.In) > 0.02 || !told.Result.ByHand || told.Result.Joined[1].By != "numbers" || told.Part == "" {
		t.Errorf("by hand: %+v", told)
	}
	c.ask(422, "POST", "/lengths", map[string]any{"what": "heddle-bar-span", "photos": ids[:1]})
	c.ask(422, "POST", "/lengths", map[string]any{"what": "heddle-bar-span", "photos": []string{ids[0], ids[0]}})
	c.ask(422, "POST", "/lengths", map[string]any{"what": "heddle-bar-span", "photos": ids, "numbers": numbers[:2]})
	c.ask(422, "POST", "/lengths", map[string]any{"what": "girth", "photos": ids})
	c.ask(404, "POST", "/lengths", map[string]any{"what": "heddle-bar-span", "photos": []string{ids[0], "nobody"}})
	for _, kind := range []string{"picture", "overlay"} {
		b := c.ask(200, "GET", "/photos/"+p.ID+"/"+kind, nil)
		if !bytes.HasPrefix(b, []byte{0xff, 0xd8}) || bytes.Contains(b, []byte("Exif")) {
			t.Errorf("the %s is no JPEG, or carries EXIF", kind)
		}
	}
	heic, err := os.ReadFile("../photo/testdata/card.heic")
	if err != nil {
		t.Fatal(err)
	}
	h := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", heic))
	if b := c.ask(200, "GET", "/photos/"+h.ID+"/picture", nil); h.State != stateDone || !bytes.HasPrefix(b, []byte{0xff, 0xd8}) {
		t.Errorf("a HEIC photo: %s %+v", h.State, h.Problem)
	}
	c.ask(404, "GET", "/photos/nobody", nil)
	c.ask(400, "GET", "/photos/"+p.ID+"?wait=soon", nil)

	// The shelf: two photos of one part by their names, then a person's word.
	other := as[photoJSON](t, c.ask(201, "POST", "/photos?name=reed-07-2.jpg&wait=60", readPhoto(t, "no-ruler.jpg")))
	kept := as[struct{ Parts []partJSON }](t, c.ask(201, "POST", "/parts/from-photos", map[string]any{"photos": []string{p.ID, other.ID}, "group": "name"}))
	if len(kept.Parts) != 1 || kept.Parts[0].Size.Label != "10" {
		t.Fatalf("kept as %+v", kept.Parts)
	}
	id := kept.Parts[0].ID
	if now := as[photoJSON](t, c.ask(200, "GET", "/photos/"+p.ID, nil)); now.Part != id {
		t.Errorf("the photo says it is kept as %q, want %s", now.Part, id)
	}
	whole := func(b []byte) (out struct {
		Part     partJSON
		Evidence []evidenceJSON
		Said     []saidJSON
	}) {
		t.Helper()
		if err := json.Unmarshal(b, &out); err != nil {
			t.Fatal(err)
		}
		return out
	}
	w := whole(c.ask(200, "GET", "/parts/"+id, nil))
	if len(w.Evidence) != 2 || w.Evidence[0].Name != "reed-07-1.jpg" {
		t.Fatalf("evidence %+v", w.Evidence)
	}
	if b := c.ask(200, "GET", strings.TrimPrefix(w.Evidence[0].Picture, apiRoot), nil); !bytes.HasPrefix(b, []byte{0xff, 0xd8}) {
		t.Error("the part's picture is no JPEG")
	}
	kl := as[measuredLengthJSON](t, c.ask(200, "POST", "/photos/"+p.ID+"/length", map[string]any{"what": "reed-length", "ends": [][2]float64{first.At, last.At}, "keep": true}))
	if kl.Part != id {
		t.Errorf("the length is kept with %q, the photo with %s", kl.Part, id)
	}
	if w = whole(c.ask(200, "GET", "/parts/"+id, nil)); w.Part.Length == nil || w.Part.Length.By != "photo" || math.Abs(w.Part.Length.In-math.Abs(last.Value-first.Value)) > 0.2 || len(w.Evidence) != 3 {
		t.Errorf("with a length kept: %+v, %d answers", w.Part.Length, len(w.Evidence))
	}
	c.ask(404, "GET", "/parts/"+id+"/pictures/"+strings.Repeat("0", 64), nil)
	w = whole(c.ask(200, "POST", "/parts/"+id+"/settle", map[string]any{"size": "12", "length": "26 1/2 in", "height": 4.75, "note": "stamped"}))
	if w.Part.Size.Label != "12" || w.Part.Size.By != "person" || w.Part.Length.In != 26.5 || w.Part.Height.In != 4.75 || len(w.Said) != 3 || w.Part.State != "settled" {
		t.Errorf("settled as %+v, said %+v", w.Part, w.Said)
	}
	w = whole(c.ask(200, "POST", "/parts/"+id+"/settle", map[string]any{"undo": "size"}))
	if w.Part.Size.Label != "10" || w.Part.Size.By != "photo" {
		t.Errorf("taken back: %+v", w.Part.Size)
	}
	c.ask(422, "POST", "/parts/"+id+"/settle", map[string]any{})
	c.ask(422, "POST", "/parts/"+id+"/settle", map[string]any{"length": "27"}) // inches or centimetres?
	c.ask(422, "POST", "/parts/"+id+"/settle", map[string]any{"size": "blue"})
	c.ask(404, "GET", "/parts/AAAA-AAAA", nil)
	w = whole(c.ask(200, "PATCH", "/parts/"+id, map[string]any{"name": "the long one", "place": "north wall"}))
	if w.Part.Name != "the long one" || w.Part.Place != "north wall" {
		t.Errorf("described as %+v", w.Part)
	}
	added := as[partJSON](t, c.ask(201, "POST", "/parts", map[string]any{"size": "40/10", "length": "68 cm", "name": "<b>bold</b>"}))
	if added.Size.Label != "40/10" || added.Name != "<b>bold</b>" {
		t.Errorf("added %+v", added)
	}
	found := as[struct {
		Parts []partJSON
		Count int
	}](t, c.ask(200, "GET", "/parts?text=north&sort=size&limit=1", nil))
	if found.Count != 1 || found.Parts[0].ID != id {
		t.Errorf("found %+v", found)
	}
	c.ask(422, "GET", "/parts?sort=colour", nil)
	c.ask(422, "GET", "/parts?limit=0", nil)

	// Looms.
	loom := as[loomJSON](t, c.ask(200, "PUT", "/looms/big%20blue", map[string]any{"weaving_width_in": "26 1/2 in", "clear_span_in": "29 1/2 in", "beater_min_in": 4.5, "beater_max_in": 5.5, "shafts": 4}))
	if loom.Name != "big blue" || loom.ClearSpanIn != 29.5 || loom.Advice == "" {
		t.Errorf("loom %+v", loom)
	}
	c.ask(422, "PUT", "/looms/odd", map[string]any{"weaving_width_in": 40, "clear_span_in": 20})
	c.ask(400, "PUT", "/looms/odd", map[string]any{"colour": "blue"})
	if l := as[struct{ Looms []loomJSON }](t, c.ask(200, "GET", "/looms", nil)); len(l.Looms) != 1 {
		t.Errorf("looms %+v", l)
	}
	check := as[struct{ Fit, Reason string }](t, c.ask(200, "GET", "/looms/big%20blue/check/"+id, nil))
	if check.Fit != "fits" || check.Reason == "" {
		t.Errorf("a reed of 26 1/2 in in 29 1/2 in: %+v", check)
	}
	reeds := as[struct{ Reeds []serviceJSON }](t, c.ask(200, "GET", "/looms/big%20blue/reeds?sett=20", nil))
	if len(reeds.Reeds) == 0 || reeds.Reeds[0].Sleying != "2" {
		t.Errorf("20 ends per inch in a 10-dent reed are two in a dent: %+v", reeds)
	}
	c.ask(422, "GET", "/looms/big%20blue/reeds?sett=-1", nil)
	c.ask(404, "GET", "/looms/small/reeds?sett=20", nil)

	// Paper.
	for _, path := range []string{"/labels?ids=" + id + "," + added.ID + "&grid=7x3&skip=2&cut_lines=true", "/labels?roll=62x29&ids=" + id, "/sheet/shelf.pdf?paper=Letter"} {
		if b := c.ask(200, "GET", path, nil); !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Errorf("%s is no PDF", path)
		}
	}
	if b := c.ask(200, "POST", "/tags", map[string]any{"n": 3}); !bytes.HasPrefix(b, []byte("%PDF-")) {
		t.Error("the tags are no PDF")
	}
	csv := string(c.ask(200, "GET", "/sheet/shelf.csv", nil))
	if !strings.Contains(csv, "the long one") || !strings.Contains(string(c.ask(200, "GET", "/sheet/shelf.json", nil)), "the long one") {
		t.Error("the tables do not hold the part")
	}
	c.ask(422, "GET", "/labels?ids=", nil)
	c.ask(422, "GET", "/labels?ids="+id+"&grid=0x9", nil)
	c.ask(422, "POST", "/tags", map[string]any{"n": 0})
	c.ask(404, "GET", "/sheet/other.pdf", nil)

	// Orders: one that asks, one that is sure and kept, and followed.
	type ordered struct {
		UID   string
		Sheet struct {
			Sure  bool
			Lines []struct {
				Status, Words string
				Questions     []string
			}
		}
	}
	asks := as[ordered](t, c.ask(200, "POST", "/orders", map[string]any{"kind": "reed"}))
	if asks.Sheet.Sure || len(asks.Sheet.Lines[0].Questions) == 0 || asks.Sheet.Lines[0].Words != "" {
		t.Errorf("a reed of no size: %+v", asks)
	}
	c.ask(409, "POST", "/orders", map[string]any{"kind": "reed", "keep": true})
	sureWish := map[string]any{"kind": "reed", "size": "12", "length": "27 in", "height": "4 3/4 in", "loom": "big blue", "quantity": 2, "title": "for the long loom"}
	ready := as[ordered](t, c.ask(200, "POST", "/orders", sureWish))
	if !ready.Sheet.Sure || !strings.Contains(ready.Sheet.Lines[0].Words, "12") {
		t.Fatalf("a reed of which all is said: %+v", ready)
	}
	for as, head := range map[string]string{"pdf": "%PDF-", "csv": "line,"} {
		sureWish["as"] = as
		if b := c.ask(200, "POST", "/orders", sureWish); !bytes.HasPrefix(b, []byte(head)) {
			t.Errorf("as %s the order begins %.20q", as, b)
		}
	}
	delete(sureWish, "as")
	sureWish["keep"] = true
	keptOrder := as[ordered](t, c.ask(200, "POST", "/orders", sureWish))
	if o := as[keptOrderJSON](t, c.ask(200, "PATCH", "/orders/"+keptOrder.UID, map[string]any{"state": "sent"})); o.State != "sent" || len(o.Lines) != 1 {
		t.Errorf("the order is %+v", o)
	}
	if o := as[keptOrderJSON](t, c.ask(200, "GET", "/orders/"+keptOrder.UID, nil)); o.State != "sent" || o.Title != "for the long loom" {
		t.Errorf("the order is %+v", o)
	}
	if l := as[struct{ Orders []keptOrderJSON }](t, c.ask(200, "GET", "/orders", nil)); len(l.Orders) != 1 {
		t.Errorf("orders %+v", l)
	}
	c.ask(200, "POST", "/orders", map[string]any{"parts": []string{id}, "loom": "big blue"})
	c.ask(404, "POST", "/orders", map[string]any{"parts": []string{id}, "loom": "small"})
	c.ask(422, "POST", "/orders", map[string]any{})
	c.ask(422, "PATCH", "/orders/"+keptOrder.UID, map[string]any{"state": "lost"})
	c.ask(404, "GET", "/orders/nothing", nil)

	c.ask(204, "DELETE", "/looms/big%20blue", nil)
	c.ask(204, "DELETE", "/photos/"+p.ID, nil)
	c.ask(404, "GET", "/photos/"+p.ID, nil)
	c.ask(200, "GET", "/openapi.yaml", nil)

	for _, item := range c.doc.Paths.Map() {
		for _, op := range item.Operations() {
			if !c.asked[op.OperationID] {
				t.Errorf("%s was not tried", op.OperationID)
			}
		}
	}
}

// The page uses nothing but what openapi.yaml describes.
func TestPageAsksForWhatThereIs(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	called := regexp.MustCompile("\"?(GET|POST|PUT|PATCH|DELETE)\"?, *[\"`](/[a-z-]+)|\\b(get|post|put|patch|drop)\\([\"`](/[a-z-]+)")
	entries, err := embedded.ReadDir("assets/js")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range entries {
		if e.Name() == "api.js" { // the functions themselves
			continue
		}
		b, err := embedded.ReadFile("assets/js/" + e.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range called.FindAllStringSubmatch(string(b), -1) {
			path := m[2] + m[4]
			n++
			if !slices.ContainsFunc(slices.Collect(c.paths()), func(p string) bool { return p == path || strings.HasPrefix(p, path+"/") }) {
				t.Errorf("%s asks for %s", e.Name(), path)
			}
		}
	}
	if n < 10 {
		t.Errorf("found %d calls in the page's scripts; the pattern misses them", n)
	}
}

func (c *client) paths() func(func(string) bool) {
	return func(yield func(string) bool) {
		for p := range c.doc.Paths.Map() {
			if !yield(p) {
				return
			}
		}
	}
}

// Bad photos are refused in words, each with its status.
func TestBadPhotos(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	jpg := readPhoto(t, "no-ruler.jpg")
	for name, x := range map[string]struct {
		data   []byte
		status int
	}{
		"text named jpg": {[]byte("this is a letter and no photo, however long it may be"), 415},
		"cut short":      {jpg[:len(jpg)/2], 422},
		"1x1":            {tinyPNG(t, 1, 1), 422},
		"60000x60000":    {tinyPNG(t, 60000, 60000), 413},
	} {
		p := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=30&name="+url.QueryEscape(name), x.data))
		if p.State != stateFailed || p.Problem == nil || p.Problem.Status != x.status || p.Problem.Advice == "" {
			t.Errorf("%s: %s %+v, want a problem of status %d with an advice", name, p.State, p.Problem, x.status)
		}
		c.ask(x.status, "GET", "/photos/"+p.ID+"/overlay", nil)
	}
	c.ask(422, "POST", "/photos?name="+strings.Repeat("x", 300), jpg)
	c.ask(422, "POST", "/photos?ruler_thickness_mm=thick", jpg)
	c.ask(422, "POST", "/photos?part=loom", jpg)
	c.ask(422, "POST", "/photos", []byte{})
}
