package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// downloads lets the page save files into a folder, and waits for one.
func (b *tab) downloads() func() []byte {
	b.t.Helper()
	dir := b.t.TempDir()
	if _, err := chromedp.CallBrowser(b.ctx, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: "allow", DownloadPath: dir}); err != nil {
		b.t.Fatal(err)
	}
	return func() []byte {
		b.t.Helper()
		until := time.Now().Add(20 * time.Second)
		for time.Now().Before(until) {
			es, err := os.ReadDir(dir)
			if err != nil {
				b.t.Fatal(err)
			}
			if len(es) == 1 && !strings.HasSuffix(es[0].Name(), ".crdownload") {
				data, err := os.ReadFile(filepath.Join(dir, es[0].Name()))
				if err != nil {
					b.t.Fatal(err)
				}
				return data
			}
			time.Sleep(40 * time.Millisecond)
		}
		b.t.Fatal("nothing was saved")
		return nil
	}
}

// middle is the middle of an element in the window.
func (b *tab) middle(sel string) (x, y float64) {
	b.t.Helper()
	eval[bool](b, fmt.Sprintf(`document.querySelector(%q).scrollIntoView({block: "center"}), true`, sel))
	b.settled(sel)
	p := eval[[2]float64](b, fmt.Sprintf(`(r => [r.left + r.width / 2, r.top + r.height / 2])(document.querySelector(%q).getBoundingClientRect())`, sel))
	return p[0], p[1]
}

// drag moves what is at the middle of an element.
func (b *tab) drag(sel string, dx, dy float64) {
	b.t.Helper()
	x, y := b.middle(sel)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	for i := 1; i <= 4; i++ {
		b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+dx*float64(i)/4, y+dy*float64(i)/4, chromedp.ButtonLeft))
	}
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x+dx, y+dy, chromedp.ButtonLeft, chromedp.ClickCount(1)))
}

// measured is the dents per inch that the page shows.
func (b *tab) measured() float64 {
	b.t.Helper()
	var v float64
	if _, err := fmt.Sscan(b.text(".facts dd"), &v); err != nil {
		b.t.Fatalf("no measure in %q", b.text(".facts dd"))
	}
	return v
}

// rememberPicture keeps what the viewer shows, when it has come to rest;
// pictureChanged is true when it shows something else.
func (b *tab) rememberPicture() {
	b.t.Helper()
	b.wait(`((now) => { const same = now === window.pictureWas; window.pictureWas = now; return same; })(` + pictureNow + `)`)
}

const (
	pictureNow     = `document.querySelector(".viewer canvas").toDataURL("image/jpeg", 0.5)`
	pictureChanged = pictureNow + ` !== window.pictureWas`
)

// The whole way in a phone's window: upload, answer, a point dragged, another
// answer that says what was set, a wire left out, and the label.
func TestUploadToLabel(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/", 360, 740, false)
	saved := b.downloads()
	b.upload("#take", photoFile(t, "reed-10-025.jpg"))
	b.wait(`document.querySelector(".answer.answered")`)
	if got := b.text(".size"); !strings.HasPrefix(got, "10") || !strings.Contains(got, "reed") {
		t.Errorf("the answer reads %q, want 10 and reed", got)
	}
	if wide := eval[int](b, `document.documentElement.scrollWidth`); wide > 360 {
		t.Errorf("in a window of 360 px the page is %d wide", wide)
	}
	before := b.measured()

	b.click("#mend > summary")
	b.click("#scale-on")
	// the outermost marks that were read lie farther apart than what was shown
	b.wait(`((box) => box && [...document.querySelectorAll(".handle")].filter(e => { const r = e.getBoundingClientRect(); return r.left >= box.left && r.right <= box.right && r.top >= box.top && r.bottom <= box.bottom; }).length === 2)(document.querySelector(".viewer")?.getBoundingClientRect())`)
	b.wait(`document.querySelector(".chips")`)
	b.shot("360-light-mend")
	// To the left in the picture is farther from the other point or nearer to it;
	// either way the same distance on the ruler now spans other pixels.
	b.drag(".handle", -28, 0)
	b.wait(fmt.Sprintf(`Math.abs(parseFloat(document.querySelector(".facts dd").innerText) / %g - 1) > 0.02`, before))
	if got := b.text(".chips"); !strings.Contains(got, "two points of the ruler") {
		t.Errorf("what was set by hand reads %q", got)
	}

	b.click("#scale-on") // back to the marks that were read
	b.wait(fmt.Sprintf(`Math.abs(parseFloat(document.querySelector(".facts dd").innerText) / %g - 1) < 0.001`, before))
	b.click("#next-band")
	b.click("#toggle-band")
	b.wait(`document.querySelector(".chips")?.innerText.includes("wires counted in or left out")`)
	b.wait(`document.querySelector(".legend").innerText.includes("left out by you")`)
	if got := b.text("#toggle-band"); got != "Count it in" {
		t.Errorf("for a wire that is left out the button says %q", got)
	}
	b.click("#toggle-band")
	b.wait(`!document.querySelector(".chips")`)

	b.click("#answer-label")
	if pdf := saved(); !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("the label is no PDF: %.40q", pdf)
	}
	b.wait(`document.querySelector('a[href^="#/part/"]')`)
	b.click(`a[href^="#/part/"]`)
	b.wait(`document.querySelector("figure img")?.naturalWidth > 0`)
	if got := b.text("h1"); !strings.Contains(got, "10") {
		t.Errorf("the part is headed %q", got)
	}
}

// A length over two photos, chosen at once: both are sent, their ends found, the
// order can be changed, and an end can be moved.
func TestJoinedOnThePage(t *testing.T) {
	s := startServer(t, nil)
	for _, width := range []int64{360, 1280} {
		b := openTab(t, s.url+"/", width, 800, width > 1000)
		b.wait(`document.querySelector("#to-measure")`)
		eval[bool](b, `(e => { e.value = "heddle-bar-span"; e.dispatchEvent(new Event("change")); })(document.querySelector("#to-measure")), true`)
		b.upload("#pick", photoFile(t, "../joined/bars-1.jpg"), photoFile(t, "../joined/bars-2.jpg"))
		b.wait(`document.querySelector(".long") && [...document.querySelectorAll(".shots canvas")].filter(c => c.width > 200).length === 2`)
		if got := b.text(".long"); !strings.HasPrefix(got, "10½") {
			t.Errorf("the bars are %q apart", got)
		}
		if wide := eval[int](b, `document.documentElement.scrollWidth`); int64(wide) > width {
			t.Errorf("in a window of %d px the page is %d wide", width, wide)
		}
		time.Sleep(100 * time.Millisecond)
		b.shot(fmt.Sprintf("%d-joined", width))
		b.axe("joined")
		b.click(".shots li:first-child button[aria-label^=Later]")
		b.wait(`document.querySelector(".shots li:first-child .soft")?.innerText === "bars-2.jpg" && document.querySelector(".long")`)
		if got := b.text(".long"); !strings.HasPrefix(got, "10½") {
			t.Errorf("the other way round the bars are %q apart", got)
		}
		b.click("#joined-hand")
		b.wait(`document.querySelectorAll(".handle").length === 2 && document.querySelector(".chips.hand")`)
		b.drag(".shots li:first-child .handle", 0, 40)
		b.wait(`document.querySelector(".long") && !document.querySelector(".long").innerText.startsWith("10½")`)
		b.click("#joined-numbers")
		b.wait(`document.querySelectorAll(".shots input[type=number]").length === 3 && document.querySelectorAll(".handle").length === 5`)
		b.shot(fmt.Sprintf("%d-joined-numbers", width))
		b.axe("joined numbers")
	}
}

// A length between two ends that are set by hand: dragging one changes it, and it
// is kept with the part.
func TestLengthByHand(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/", 360, 740, false)
	b.wait(`document.querySelector("#to-measure")`)
	eval[bool](b, `(e => { e.value = "reed-height"; e.dispatchEvent(new Event("change")); })(document.querySelector("#to-measure")), true`)
	b.upload("#take", photoFile(t, "reed-10-025.jpg"))
	b.click("#ends-by-hand")
	b.wait(`document.querySelector(".long") && document.querySelectorAll(".handle").length === 2`)
	b.shot("360-light-length")
	was := b.text(".long")
	b.drag(".handle", 30, 12)
	b.wait(fmt.Sprintf(`document.querySelector(".long")?.innerText !== %q`, was))
	if got := b.text("#length .chips"); !strings.Contains(got, "both ends") {
		t.Errorf("what was set by hand reads %q", got)
	}
	if got := b.text("#what option:checked"); got != "" && !strings.Contains(got, "height") {
		t.Errorf("asked for height, the page measures %q", got)
	}
	if got := b.text("#length"); strings.Contains(got, "--") {
		t.Errorf("the page speaks of the command line: %q", got)
	}
	b.axe("length")
	b.click("#keep-length")
	b.click(`#length a[href^="#/part/"]`)
	b.wait(`document.querySelectorAll("figure").length === 2`)
	if got := b.text("main"); !strings.Contains(got, "reed height") {
		t.Errorf("the part says %q", got)
	}
}

// A tap on a wire in the picture leaves it out; pinching and dragging move the
// picture and leave the wires alone.
func TestTapAndPinch(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/", 360, 740, false)
	b.upload("#take", photoFile(t, "rigid-heddle-10-013.jpg"))
	b.wait(`document.querySelector(".answer.answered")`)
	b.do(chromedp.EmulateViewport(360, 740, chromedp.EmulateTouch))
	b.click("#mend > summary")
	b.wait(`document.querySelector("#toggle-band")`)
	x, y := b.middle(".viewer")
	touch := func(kind string, points ...[2]float64) {
		t.Helper()
		var tp []*input.TouchPoint
		for i, p := range points {
			id := float64(i)
			tp = append(tp, &input.TouchPoint{X: p[0], Y: p[1], ID: &id})
		}
		if _, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventType(kind), TouchPoints: tp}); err != nil {
			t.Fatal(err)
		}
	}
	b.rememberPicture()
	touch("touchStart", [2]float64{x - 20, y}, [2]float64{x + 20, y})
	for d := 30.0; d <= 90; d += 20 {
		touch("touchMove", [2]float64{x - d, y}, [2]float64{x + d, y})
	}
	touch("touchEnd")
	b.wait(pictureChanged)
	if b.text(".chips") != "" {
		t.Error("pinching counted wires")
	}
	// Where a counted wire is on the screen, by the page's own evidence.
	id := eval[string](b, `location.hash.split("/").pop()`)
	h, err := s.photos.get(id)
	if err != nil {
		t.Fatal(err)
	}
	h.mu.Lock()
	bands := h.result.Evidence.Bands
	h.mu.Unlock()
	n := len(bands)
	eval[bool](b, `document.querySelector(".tools button:nth-child(4)").click(), true`) // along the ruler: a wire of the row is in the middle
	time.Sleep(80 * time.Millisecond)
	x, y = b.middle(".viewer")
	touch("touchStart", [2]float64{x, y})
	touch("touchEnd")
	b.wait(`document.querySelector(".chips")?.innerText.includes("wires counted in or left out")`)
	h.mu.Lock()
	defer h.mu.Unlock()
	changed := 0
	for i, now := range h.result.Evidence.Bands {
		if now.State != bands[i].State {
			changed++
		}
	}
	if changed != 1 || len(h.result.Evidence.Bands) != n {
		t.Errorf("one tap changed %d of %d places", changed, n)
	}
}

// Everything by the keyboard alone: along the page, into the mending, a point of
// the scale moved by arrow keys.
func TestKeyboardOnly(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/", 1280, 800, false)
	b.wait(`document.querySelector("#take")`)
	focus := func() string {
		return eval[string](b, `(e => e.id || e.innerText || e.getAttribute("aria-label") || e.tagName)(document.activeElement)`)
	}
	tabTo := func(want string) {
		t.Helper()
		var passed []string
		for range 60 {
			b.do(chromedp.KeyEvent(kb.Tab))
			f := focus()
			if strings.HasPrefix(f, want) {
				outline := eval[string](b, `(e => { const s = [e, e.parentElement].map(x => getComputedStyle(x)); return s.map(c => c.outlineStyle).find(o => o !== "none") || "none"; })(document.activeElement)`)
				if outline == "none" {
					t.Errorf("the focus on %q cannot be seen", f)
				}
				return
			}
			passed = append(passed, f)
		}
		t.Fatalf("%q is not reached by Tab; passed %q", want, passed)
	}
	tabTo("To the content")
	b.do(chromedp.KeyEvent("\r"))
	if f := eval[string](b, `document.activeElement.id`); f != "main" {
		t.Errorf("the skip link leads to %q", f)
	}
	tabTo("take")
	tabTo("pick")
	b.upload("#take", photoFile(t, "reed-10-025.jpg")) // choosing a file is the system's own window
	b.wait(`document.querySelector(".answer.answered")`)
	if f := eval[string](b, `document.activeElement.id`); f != "main" {
		t.Errorf("after the answer came the focus is on %q, want main", f)
	}
	if said := b.text("#say"); !strings.Contains(said, "10-dent reed") {
		t.Errorf("a screen reader is told %q", said)
	}
	tabTo("Photo with") // the picture
	b.wait(`document.querySelector(".legend").children.length > 0`)
	for _, key := range []string{"+", kb.ArrowRight, "0"} {
		b.rememberPicture()
		b.do(chromedp.KeyEvent(key))
		b.wait(pictureChanged)
	}
	before := b.measured()
	tabTo("Mend by hand")
	b.do(chromedp.KeyEvent("\r"))
	tabTo("scale-on")
	b.do(chromedp.KeyEvent(" "))
	b.wait(`document.querySelectorAll(".handle").length === 2`)
	b.do(chromedp.Focus(".handle"))
	for range 4 {
		b.do(chromedp.KeyEvent(kb.ArrowLeft, chromedp.KeyModifiers(chromedp.ModifierShift)))
	}
	b.wait(fmt.Sprintf(`Math.abs(parseFloat(document.querySelector(".facts dd").innerText) / %g - 1) > 0.01`, before))
}

// The vendored checker is the published one.
func TestAxeIsThePublishedOne(t *testing.T) {
	b, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	const published = "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c" // npm axe-core 4.14.1
	if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != published {
		t.Error("axe.min.js is not as published")
	}
}

// axe looks for violations of WCAG 2.2 A and AA and best practices in the view.
func (b *tab) axe(view string) {
	b.t.Helper()
	if !eval[bool](b, `!!window.axe`) {
		src, err := os.ReadFile("testdata/axe/axe.min.js")
		if err != nil {
			b.t.Fatal(err)
		}
		eval[bool](b, string(src)+";true")
	}
	found, err := chromedp.Run(b.ctx, chromedp.Evaluate[[]struct {
		ID    string
		Nodes []string
	}](`axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => { window.axePassed = r.passes.length; return r.violations.map(v => ({ID: v.id, Nodes: v.nodes.map(n => n.html.slice(0, 160) + " " + n.failureSummary)})); })`, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", view, err)
	}
	for _, v := range found {
		b.t.Errorf("%s: %s at %q", view, v.ID, v.Nodes)
	}
	if n := eval[int](b, `axePassed`); n < 10 {
		b.t.Errorf("%s: axe looked at %d rules only", view, n)
	}
	if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
		b.t.Errorf("%s: the page is %d px wider than the window", view, wide)
	}
}

// Every view, narrow and wide, light and dark: no violations, nothing wider than
// the window. DENTCOUNT_LOOK=DIR keeps their pictures.
func TestEveryView(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	sent := func(file string) photoJSON {
		t.Helper()
		return as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60&name="+file, readPhoto(t, file)))
	}
	sure, refused := sent("reed-10-025.jpg"), sent("no-ruler.jpg")
	kept := as[struct{ Parts []partJSON }](t, c.ask(201, "POST", "/parts/from-photos", map[string]any{"photos": []string{sure.ID, refused.ID}}))
	id := kept.Parts[0].ID
	c.ask(200, "POST", "/parts/"+id+"/settle", map[string]any{"length": "26 1/2 in", "note": "measured with a tape"})
	c.ask(201, "POST", "/parts", map[string]any{"size": "40/10", "kind": "rigid-heddle", "name": "blue one", "place": "north wall"})
	c.ask(200, "PUT", "/looms/big%20blue", map[string]any{"weaving_width_in": "26 1/2 in", "clear_span_in": "29 1/2 in", "beater_min_in": 4.5, "beater_max_in": 5.5, "shafts": 4})
	unsure := s.makeUnsure(t, sure.ID)
	views := []struct{ name, hash, ready string }{
		{"measure", "#/", `document.querySelector("#take")`},
		{"answered", "#/photo/" + sure.ID, `document.querySelector(".answer.answered") && document.querySelector(".viewer canvas").width > 200`},
		{"unsure", "#/photo/" + unsure, `document.querySelector(".answer.unsure")`},
		{"refused", "#/photo/" + refused.ID, `document.querySelector(".answer.refused")`},
		{"shelf", "#/shelf", `document.querySelectorAll(".parts li").length === 3`},
		{"part", "#/part/" + id, `document.querySelector("figure img")?.naturalWidth > 0`},
		{"looms", "#/looms", `document.querySelector(".parts li")`},
		{"orders", "#/orders/" + id, `document.querySelector("#make-order")`},
		{"guide", "#/guide", `document.querySelector("#start")`},
		{"settings", "#/settings", `document.querySelector("main input[type=number]")`},
		{"gone", "#/photo/nobody", `document.querySelector(".problem")`},
	}
	for _, w := range []struct {
		width int64
		dark  bool
	}{{360, false}, {1280, true}, {360, true}, {1280, false}} {
		b := openTab(t, s.url+"/#/settings", w.width, 800, w.dark)
		for _, v := range views {
			eval[bool](b, fmt.Sprintf(`location.hash = %q; true`, v.hash))
			b.wait(v.ready)
			eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true); true`)
			time.Sleep(30 * time.Millisecond)
			scheme := map[bool]string{false: "light", true: "dark"}[w.dark]
			name := fmt.Sprintf("%d-%s-%s", w.width, scheme, v.name)
			b.shot(name)
			// The two colour schemes at one width each hold every rule.
			if (w.width == 360) != w.dark {
				b.axe(name)
			}
		}
	}
}

// makeUnsure holds a copy of a measured photo whose answer is not sure.
func (s *testServer) makeUnsure(t *testing.T, id string) string {
	t.Helper()
	h, err := s.photos.get(id)
	if err != nil {
		t.Fatal(err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	r := *h.result
	r.Status, r.Order = "unsure", ""
	r.Reason, r.Advice = "it could be 10 or 40/10", "say how thick the ruler is (--ruler-thickness), or take the photo from twice as far"
	size := *r.Size
	size.Confidence = 0.61
	size.Others = append(size.Others[:0:0], size.SizeChoice)
	size.Others[0].Label, size.Others[0].System, size.Others[0].DentsPerInch, size.Others[0].Confidence = "40/10", "metric", 10.16, 0.37
	r.Size = &size
	copied := &held{id: newID(), name: h.name, cancel: func() {}, job: h.job, kept: h.kept, jpeg: h.jpeg, sha256: h.sha256, result: &r}
	s.photos.add(copied)
	return copied.id
}

// An unsure answer says what it could be and what to do, in the page's words.
func TestUnsureSaysWhatToDo(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	p := as[photoJSON](t, c.ask(201, "POST", "/photos?wait=60", readPhoto(t, "reed-10-025.jpg")))
	b := openTab(t, s.url+"/#/photo/"+s.makeUnsure(t, p.ID), 360, 740, false)
	b.wait(`document.querySelector(".answer.unsure .todo")`)
	got := b.text(".answer")
	for _, want := range []string{"Measured, not sure", "40/10", "61 in 100", "37 in 100", "how thick the ruler is"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not said in %q", want, got)
		}
	}
	if strings.Contains(got, "--") {
		t.Errorf("the page speaks of the command line: %q", got)
	}
}

// Many photos at once: all are measured, the doubtful ones come first, and those
// of one part are kept as one.
func TestBox(t *testing.T) {
	s := startServer(t, nil)
	dir := t.TempDir()
	var files []string
	for name, from := range map[string]string{"reed-07-1.jpg": "reed-10-025.jpg", "reed-07-2.jpg": "no-ruler.jpg", "letter.jpg": "truth.json"} {
		f := filepath.Join(dir, name)
		if err := os.WriteFile(f, readPhoto(t, from), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	b := openTab(t, s.url+"/", 360, 740, false)
	b.upload("#pick", files...)
	b.wait(`document.querySelector("#keep-all:not([disabled])")`)
	b.shot("360-light-box")
	if got := eval[[]string](b, `Array.from(document.querySelectorAll(".parts li"), e => e.className)`); strings.Join(got, " ") != "failed refused answered" {
		t.Errorf("in the order %q", got)
	}
	b.axe("box")
	b.click("#keep-all")
	b.wait(`document.querySelector("main").innerText.includes("1 part is on the shelf now")`)
}

// A name is never run as a script, wherever it is shown.
func TestNamesAreText(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	evil := `<img src=x onerror="window.pwned=1"><script>window.pwned=1</script>`
	p := as[partJSON](t, c.ask(201, "POST", "/parts", map[string]any{"size": "12", "name": evil, "place": evil, "note": evil}))
	b := openTab(t, s.url+"/#/shelf", 360, 740, false)
	b.wait(`document.querySelector(".parts li")`)
	if got := b.text(".parts li"); !strings.Contains(got, "<img") {
		t.Errorf("the name reads %q", got)
	}
	eval[bool](b, fmt.Sprintf(`location.hash = "#/part/%s"; true`, p.ID))
	b.wait(`document.querySelector("#settle")`)
	if eval[bool](b, `!!window.pwned`) {
		t.Error("a name was run")
	}
}

// The shelf in the page: search, settle, take back.
func TestSettleOnThePage(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	p := as[partJSON](t, c.ask(201, "POST", "/parts", map[string]any{"name": "long one"}))
	c.ask(201, "POST", "/parts", map[string]any{"size": "8", "name": "short one"})
	b := openTab(t, s.url+"/#/shelf", 1280, 800, false)
	b.wait(`document.querySelectorAll(".parts li").length === 2`)
	b.do(chromedp.SendKeys(`input[name=text]`, "long\r"))
	b.wait(`document.querySelectorAll(".parts li").length === 1`)
	b.click(".parts a")
	b.wait(`document.querySelector("#settle")`)
	b.do(chromedp.SendKeys(`input[name=length]`, "27"))
	b.click("#settle")
	b.wait(`document.querySelector(".problem")`) // 27 what?
	b.do(chromedp.SendKeys(`input[name=length]`, " in"), chromedp.SendKeys(`input[name=size]`, "12 1/2"))
	b.click("#settle")
	b.wait(`document.querySelector("h1").innerText.startsWith("12.5")`)
	got, err := s.shelf.Part(b.ctx, mustID(t, p.ID))
	if err != nil || got.Length.In != 27 || got.Size.Label != "12.5" {
		t.Errorf("on the shelf: %+v, %v", got, err)
	}
}

// An order on the page: it asks, is answered, is kept and followed.
func TestOrderOnThePage(t *testing.T) {
	s := startServer(t, nil)
	c := newClient(t, s)
	c.ask(200, "PUT", "/looms/big%20blue", map[string]any{"weaving_width_in": "26 1/2 in", "clear_span_in": "29 1/2 in", "beater_min_in": 4.5, "beater_max_in": 5.5})
	b := openTab(t, s.url+"/#/orders", 360, 740, false)
	b.wait(`document.querySelector("#make-order")`)
	pick := func(name, value string) {
		t.Helper()
		eval[bool](b, fmt.Sprintf(`(document.querySelector("select[name=%s]").value = %q, true)`, name, value))
	}
	pick("kind", "reed")
	b.click("#make-order")
	b.wait(`document.querySelector("main").innerText.includes("To be answered first")`)
	pick("loom", "big blue")
	b.do(chromedp.SendKeys(`input[name=size]`, "12"), chromedp.SendKeys(`input[name=height]`, "4 3/4 in"), chromedp.SendKeys(`input[name=length]`, "27 in"))
	b.click("#make-order")
	b.wait(`document.querySelector("#keep-order")`)
	b.shot("360-light-order")
	b.click("#keep-order")
	b.wait(`document.querySelector("main").innerText.includes("Kept as")`)
	eval[bool](b, `(e => { e.value = "sent"; e.dispatchEvent(new Event("change")); })(document.querySelector(".parts label select")), true`)
	b.wait(`document.querySelector("#say").innerText === "Saved"`)
	if orders, err := s.shelf.Orders(b.ctx); err != nil || len(orders) != 1 || orders[0].State != "sent" {
		t.Errorf("on the shelf: %+v, %v", orders, err)
	}
}

// The token's address opens the page in a browser, once.
func TestGateInABrowser(t *testing.T) {
	gate, token := NewGate(false, nil)
	s := startServer(t, func(set *Settings) { set.Gate = gate })
	b := openTab(t, s.url+"/", 360, 740, false)
	if got := b.text("body"); !strings.Contains(got, "not open to you") || strings.Contains(got, "{") {
		t.Errorf("without a token the page says %q", got)
	}
	b.do(chromedp.Navigate(s.url + EnterPath(token)))
	b.wait(`document.querySelector("#take")`)
	if at := eval[string](b, `location.pathname`); at != "/" {
		t.Errorf("the token stays in the address: %s", at)
	}
	b.do(chromedp.Navigate(s.url + "/#/shelf"))
	b.wait(`document.querySelector("main h1")`)
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
