package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"net/http"
	"os"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"testing"

	"gocv.io/x/gocv"
)

// rssMiB is how much memory this process has, after what can be given back was.
func rssMiB(t testing.TB) int {
	t.Helper()
	runtime.GC()
	debug.FreeOSMemory()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			n, err := strconv.Atoi(strings.Fields(rest)[0])
			if err != nil {
				t.Fatal(err)
			}
			return n >> 10
		}
	}
	t.Fatal("no VmRSS")
	return 0
}

func decode(resp *http.Response, into any) error {
	defer resp.Body.Close()
	return json.NewDecoder(resp.Body).Decode(into)
}

// sendMany sends n photos, so many at once, and wants an answer to each.
func sendMany(t testing.TB, url string, data []byte, n, atOnce int) {
	t.Helper()
	next := make(chan int)
	var wg sync.WaitGroup
	var mu sync.Mutex
	ids := map[string]bool{}
	for range atOnce {
		wg.Go(func() {
			for i := range next {
				r, err := http.NewRequest("POST", fmt.Sprintf("%s/api/v1/photos?wait=60&name=photo-%d", url, i), bytes.NewReader(data))
				if err != nil {
					t.Error(err)
					continue
				}
				r.Header.Set(mark, "load")
				resp, err := http.DefaultClient.Do(r)
				if err != nil {
					t.Errorf("photo %d is lost: %v", i, err)
					continue
				}
				status := resp.StatusCode
				var p photoJSON
				err = decode(resp, &p)
				for err == nil && (p.State == stateWaiting || p.State == stateMeasuring) {
					if resp, err = http.Get(url + apiRoot + "/photos/" + p.ID + "?wait=60"); err == nil {
						err = decode(resp, &p)
					}
				}
				if err != nil || status != 201 || p.State != stateDone || p.Name != fmt.Sprintf("photo-%d", i) {
					t.Errorf("photo %d: %v %d %s %q", i, err, status, p.State, p.Name)
				}
				mu.Lock()
				ids[p.ID] = true
				mu.Unlock()
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	if len(ids) != n {
		t.Errorf("%d answers to %d photos", len(ids), n)
	}
}

// load sends photos in a row and 16 at once, forgets them, and wants the memory
// back where it was after the first ones.
func load(t testing.TB, s *Server, url string, data []byte, inARow int) (floor, after int) {
	t.Helper()
	sendMany(t, url, data, 4, 2) // what is loaded once is no leak
	s.photos.clear()
	floor = rssMiB(t)
	sendMany(t, url, data, inARow, 1)
	sendMany(t, url, data, 16, 16)
	s.photos.clear()
	return floor, rssMiB(t)
}

// slackMiB is how far memory may stay over its floor: what the C library keeps
// for itself of one decoded photo on each core.
const slackMiB = 60

// Nothing is lost under load, and memory comes back to its floor.
func TestLoad(t *testing.T) {
	s := startServer(t, nil)
	floor, after := load(t, s.Server, s.url, plainPhoto(t), 60)
	t.Logf("%d MiB before, %d MiB after", floor, after)
	if after > floor+slackMiB {
		t.Errorf("%d MiB before, %d MiB after", floor, after)
	}
}

// BenchmarkUploads is the load at its full size: 200 photos of 12 megapixels in
// a row, then 16 at once. go test ./web -run '^$' -bench Uploads -benchtime 1x
func BenchmarkUploads(b *testing.B) {
	s := startServer(b, nil)
	data := resized(b, 4000)
	for b.Loop() {
		floor, after := load(b, s.Server, s.url, data, 200)
		b.ReportMetric(float64(floor), "MiB-before")
		b.ReportMetric(float64(after), "MiB-after")
		if after > floor+slackMiB {
			b.Errorf("%d MiB before, %d MiB after", floor, after)
		}
	}
}

// plainPhoto is a photo of a bare table: large, and soon refused.
func plainPhoto(t testing.TB) []byte {
	t.Helper()
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(150, 170, 190, 0), 1500, 2000, gocv.MatTypeCV8UC3)
	defer m.Close()
	return jpegOf(t, m)
}

// resized is a photo of the tests with a long side of so many pixels.
func resized(t testing.TB, long int) []byte {
	t.Helper()
	m := gocv.IMRead("../testdata/images/rigid-heddle-10-013.jpg", gocv.IMReadColor)
	defer m.Close()
	if m.Empty() {
		t.Fatal("the photo is missing")
	}
	gocv.Resize(m, &m, image.Pt(long, long*3/4), 0, 0, gocv.InterpolationLinear)
	return jpegOf(t, m)
}

func jpegOf(t testing.TB, m gocv.Mat) []byte {
	t.Helper()
	buf, err := gocv.IMEncode(gocv.JPEGFileExt, m)
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes())
}
