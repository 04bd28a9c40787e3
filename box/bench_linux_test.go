package box

import (
	"bytes"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"gocv.io/x/gocv"
	"golang.org/x/sys/unix"

	"dentcount/measure"
)

// The throughput of a whole sort on one and on two cores, in one run, on
// photos of 12 megapixels made from those in testdata/images. 200 of them:
//
//	DENTCOUNT_BENCH_PHOTOS=200 go test ./box -run '^$' -bench Sort -benchtime 1x
//
// It reports photos per second, the gain over one core, and the most memory
// the process held meanwhile (VmHWM, Linux).
func BenchmarkSort(b *testing.B) {
	n := 8
	if s := os.Getenv("DENTCOUNT_BENCH_PHOTOS"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			b.Fatal(err)
		}
	}
	dir := largePhotos(b, n)
	perSecond, perPhoto := map[int]float64{}, map[int]float64{}
	for _, jobs := range []int{1, 2} {
		b.Run(fmt.Sprintf("jobs=%d", jobs), func(b *testing.B) {
			// One core in truth: the measuring and OpenCV use several by themselves.
			useCores(b, jobs)
			defer useCores(b, runtime.NumCPU())
			forgetPeak(b)
			start, cpu := time.Now(), cpuSeconds(b)
			photos := 0
			for b.Loop() {
				out, err := Sort(bg, openShelf(b), dir, Options{Group: Apart, Jobs: jobs, Measure: measure.Photo, Version: measure.Version})
				if err != nil || out.Faults > 0 {
					b.Fatal(err, out.Faults)
				}
				photos += out.Photos
			}
			perSecond[jobs] = float64(photos) / time.Since(start).Seconds()
			b.ReportMetric(perSecond[jobs], "photos/s")
			// Where other work takes the cores away, the gain is no measure. Processor
			// time a photo is: with nothing else to do, the gain is at most this.
			perPhoto[jobs] = (cpuSeconds(b) - cpu) / float64(photos)
			b.ReportMetric(perPhoto[jobs], "cpu-s/photo")
			if perPhoto[1] > 0 {
				b.ReportMetric(float64(jobs)*perPhoto[1]/perPhoto[jobs], "×at-most")
			}
			if perSecond[1] > 0 {
				b.ReportMetric(perSecond[jobs]/perSecond[1], "×one-core")
			}
			b.ReportMetric(peakMB(), "peak-MB")
		})
	}
}

func largePhotos(b *testing.B, n int) string {
	b.Helper()
	keepMemoryLow() // so that what is made here does not count at the peak
	files, err := filepath.Glob("../testdata/images/*.jpg")
	if err != nil || len(files) == 0 {
		b.Fatal("no photos in testdata/images")
	}
	dir := b.TempDir()
	var large [][]byte
	for _, f := range files {
		m := gocv.IMRead(f, gocv.IMReadColor)
		w, h := 4000, 3000
		if m.Rows() > m.Cols() {
			w, h = h, w
		}
		gocv.Resize(m, &m, image.Pt(w, h), 0, 0, gocv.InterpolationCubic)
		buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, m, []int{gocv.IMWriteJpegQuality, 92})
		if err != nil {
			b.Fatal(err)
		}
		large = append(large, bytes.Clone(buf.GetBytes()))
		buf.Close()
		m.Close()
	}
	for i := range n {
		// Bytes after the end of the picture make it another file, and no other picture.
		data := append(bytes.Clone(large[i%len(large)]), fmt.Sprintf("%d", i)...)
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("p%04d.jpg", i)), data, 0o644); err != nil {
			b.Fatal(err)
		}
	}
	return dir
}

func cpuSeconds(b *testing.B) float64 {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}

// forgetPeak lets VmHWM start again from what is held now (proc(5), clear_refs).
func forgetPeak(b *testing.B) {
	b.Helper()
	debug.FreeOSMemory()
	if err := os.WriteFile("/proc/self/clear_refs", []byte("5"), 0); err != nil {
		b.Log("the peak is that of the whole run: ", err)
	}
}

func peakMB() float64 {
	status, _ := os.ReadFile("/proc/self/status")
	for _, line := range strings.Split(string(status), "\n") {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kb / 1024
		}
	}
	return 0
}

// useCores keeps every thread of the process on the first n cores.
func useCores(b *testing.B, n int) {
	b.Helper()
	var set unix.CPUSet
	for i := range n {
		set.Set(i)
	}
	tasks, err := os.ReadDir("/proc/self/task")
	if err != nil {
		b.Fatal(err)
	}
	for _, t := range tasks {
		if tid, err := strconv.Atoi(t.Name()); err == nil {
			if err := unix.SchedSetaffinity(tid, &set); err != nil && err != unix.ESRCH {
				b.Fatal(err)
			}
		}
	}
}
