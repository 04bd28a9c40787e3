package report

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// The page sorts in a real browser, from the keyboard too, with nothing beside
// the file; and no text of a part is run as a script.
func TestSheetSortsInABrowser(t *testing.T) {
	browser, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("chromium is missing; make setup installs it")
	}
	var page bytes.Buffer
	if err := SheetHTML(&page, testSheet(t)); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(file, page.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	opts := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(browser), chromedp.NoSandbox,
		chromedp.DisableGPU, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, cancelTime := context.WithTimeout(ctx, 60*time.Second)
	defer cancelTime()

	alerted := false
	must := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatal(err)
		}
	}
	ids := func() []string {
		return evaluate[[]string](ctx, t, `Array.from(document.querySelectorAll("tbody td.id"), c => c.textContent)`)
	}
	heading := func() string {
		return evaluate[string](ctx, t, `(h => h.textContent.trim() + " " + h.getAttribute("aria-sort"))(document.querySelector("th[aria-sort]"))`)
	}
	must(chromedp.Navigate("about:blank"))
	if err := chromedp.Listen(ctx, func(ev any) {
		if _, ok := ev.(*cdppage.EventJavascriptDialogOpening); ok {
			alerted = true
		}
	}); err != nil {
		t.Fatal(err)
	}
	must(chromedp.Navigate("file://" + file))
	first := ids()
	must(chromedp.Click("th:nth-child(4) button"), chromedp.Click("th:nth-child(4) button")) // length, long to short
	byLength, head1 := ids(), heading()
	must(chromedp.Focus("th:nth-child(1) button"), chromedp.KeyEvent("\r")) // size, from the keyboard
	back, head2 := ids(), heading()
	loaded := evaluate[int](ctx, t, `performance.getEntriesByType("resource").filter(r => !r.name.startsWith("data:")).length`)
	must(chromedp.EmulateViewport(360, 800))
	wide := evaluate[int](ctx, t, `document.documentElement.scrollWidth`)
	if len(byLength) != 8 || byLength[0] != "K7M4-PXWC" || head1 != "Length descending" {
		t.Errorf("by length: %v, %q", byLength, head1)
	}
	if !slices.Equal(back, first) || head2 != "Size ascending" {
		t.Errorf("back to the order of the sheet: %v, was %v, %q", back, first, head2)
	}
	if loaded != 0 {
		t.Errorf("the page loaded %d things from elsewhere", loaded)
	}
	if wide > 360 {
		t.Errorf("on a phone of 360 px the page is %d wide", wide)
	}
	if alerted {
		t.Error("a name was run as a script")
	}
}

func evaluate[T any](ctx context.Context, t *testing.T, js string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js))
	if err != nil {
		t.Fatal(err)
	}
	return v
}
