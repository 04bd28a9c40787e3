package web

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// browser is one chromium for all tests of this package.
var browser struct {
	once sync.Once
	ctx  context.Context
	stop []func()
	err  error
}

func TestMain(m *testing.M) {
	code := m.Run()
	for _, stop := range slices.Backward(browser.stop) {
		stop()
	}
	os.Exit(code)
}

func startBrowser() {
	path, err := exec.LookPath("chromium")
	if err != nil {
		browser.err = fmt.Errorf("chromium is missing; make setup installs it: %w", err)
		return
	}
	dir, err := os.MkdirTemp("", "dentcount-browser")
	if err != nil {
		browser.err = err
		return
	}
	opts := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(dir),
		chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true), chromedp.IgnoreCertErrors)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	browser.stop = append(browser.stop, func() { os.RemoveAll(dir) }, stop, cancel)
	browser.ctx, browser.err = ctx, chromedp.Do(ctx)
}

// tab is one page of the browser. A script error or a breach of the content
// security policy in it fails the test.
type tab struct {
	t   *testing.T
	ctx context.Context
}

func openTab(t *testing.T, url string, width, height int64, dark bool) *tab {
	t.Helper()
	browser.once.Do(startBrowser)
	if browser.err != nil {
		t.Fatal(browser.err)
	}
	ctx, cancel := chromedp.NewContext(browser.ctx)
	ctx, cancelTime := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(func() { cancelTime(); cancel() })
	b := &tab{t, ctx}
	b.do(chromedp.Navigate("about:blank"))
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `
		window.flaws = [];
		addEventListener("error", e => flaws.push("error: " + e.message + " " + e.filename + ":" + e.lineno));
		const tell = console.error; console.error = (...a) => { flaws.push("console: " + a.map(x => x && x.stack || x).join(" ")); tell(...a); };
		addEventListener("unhandledrejection", e => flaws.push("rejection: " + (e.reason && (e.reason.stack || e.reason.title) || e.reason)));
		addEventListener("securitypolicyviolation", e => flaws.push("policy: " + e.violatedDirective + " " + e.blockedURI));`}); err != nil {
		t.Fatal(err)
	}
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}}); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(width, height), chromedp.Navigate(url))
	t.Cleanup(func() {
		if flaws := eval[[]string](b, `window.flaws || []`); len(flaws) > 0 {
			t.Errorf("the page has flaws: %q", flaws)
		}
	})
	return b
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.shot("failed")
		b.t.Fatal(err)
	}
}

func eval[T any](b *tab, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// wait waits until js is true. A page that leads on to another may go away while it is
// asked: that is not yet true.
func (b *tab) wait(js string) {
	b.t.Helper()
	until := time.Now().Add(90 * time.Second)
	holds := func() bool {
		v, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("!!("+js+")"))
		if err != nil && !strings.Contains(err.Error(), "navigated or closed") {
			b.t.Fatalf("%s: %v", js, err)
		}
		return v && err == nil
	}
	for !holds() {
		if time.Now().After(until) {
			b.shot("waiting")
			b.t.Fatalf("%s did not come true; the page says:\n%s", js, eval[string](b, `document.body.innerText`))
		}
		time.Sleep(40 * time.Millisecond)
	}
}

// text is what a person reads in the first element of a selector.
func (b *tab) text(sel string) string {
	b.t.Helper()
	return eval[string](b, fmt.Sprintf(`(document.querySelector(%q) || {innerText: ""}).innerText`, sel))
}

// settled waits until the element is there and has stayed in its place for two
// frames: a click or a press goes to where the element was, and on a busy machine
// a picture above it, or the frame that places a handle on a picture, comes late.
func (b *tab) settled(sel string) {
	b.t.Helper()
	b.wait(fmt.Sprintf(`(() => {
		const r = document.querySelector(%q)?.getBoundingClientRect();
		const at = r && [r.x, r.y, r.width, r.height].join();
		if (at && window.seen?.at === at && [...document.images].every(i => i.complete || i.loading === "lazy")) {
			if (window.seen.frames < 2) return false;
			window.seen = undefined;
			return true;
		}
		const seen = window.seen = { at, frames: 0 };
		const count = () => { if (++seen.frames < 2) requestAnimationFrame(count); };
		requestAnimationFrame(count);
		return false;
	})()`, sel))
}

// click clicks the element once it is there and stays in its place.
func (b *tab) click(sel string) {
	b.t.Helper()
	b.settled(sel)
	b.do(chromedp.Click(sel))
}

// shot keeps a picture of the page where DENTCOUNT_LOOK names a folder.
func (b *tab) shot(name string) {
	dir := os.Getenv("DENTCOUNT_LOOK")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	if err != nil {
		b.t.Logf("no picture %s: %v", name, err)
	}
}

// upload chooses photos as a person does.
func (b *tab) upload(sel string, files ...string) {
	b.t.Helper()
	b.wait(fmt.Sprintf(`document.querySelector(%q)`, sel))
	b.do(chromedp.SetUploadFiles(sel, files))
}
