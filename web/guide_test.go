package web

import (
	"fmt"
	"testing"

	"dentcount/shelf"
)

func mustID(t *testing.T, s string) shelf.ID {
	t.Helper()
	id, err := shelf.ParseID(s)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// The guide's arithmetic on drawn frames whose answer is known.
func TestGuideJudges(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/#/settings", 360, 740, false)
	b.wait(`document.querySelector("main h1")`)
	// wires draws upright wires of a spacing; ruler lays a bar over the middle;
	// blur smears; turn lays the picture on its side.
	eval[bool](b, `import("/js/guidemath.js").then(m => {
		window.m = m;
		window.wires = ({px = 6, ruler = true, blur = 0, turn = false, burn = 0, w = 320, h = 240}) => {
			let v = new Float64Array(w * h);
			for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
				const bar = ruler && y > h * 0.45 && y < h * 0.6;
				const p = (x / px) % 1, e = Math.min(Math.max((Math.abs(p - 0.5) * px - px * 0.22) / 1 + 0.5, 0), 1);
				v[y * w + x] = bar ? 205 - 120 * (x % 32 < 2 && y < h * 0.5) : 60 + 120 * e;
				if (y < h * burn) v[y * w + x] = 255;
			}
			for (let k = 0; k < blur; k++) {
				const u = v.slice();
				for (let y = 1; y < h - 1; y++) for (let x = 1; x < w - 1; x++) { const i = y * w + x; v[i] = (u[i - 1] + u[i] + u[i + 1] + u[i - w] + u[i + w]) / 5; }
			}
			if (turn) { const u = v; v = new Float64Array(w * h); for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) v[x * h + y] = u[y * w + x]; [w, h] = [h, w]; }
			return {w, h, v: Uint8Array.from(v)};
		};
	}); true`)
	b.wait(`window.wires`)
	type verdict struct {
		Level, Sharp, Glare, Ruler, Near *bool
		Px                               float64
	}
	yes, no := true, false
	for name, c := range map[string]struct {
		frame string
		full  float64
		tilt  string
		want  verdict
	}{
		"as it should be":     {`{}`, 4, "2", verdict{&yes, &yes, &yes, &yes, &yes, 6}},
		"on its side":         {`{turn: true}`, 4, "2", verdict{&yes, &yes, &yes, &yes, &yes, 6}},
		"no ruler":            {`{ruler: false}`, 4, "2", verdict{&yes, &yes, &yes, &no, &yes, 6}},
		"tilted":              {`{}`, 4, "20", verdict{&no, &yes, &yes, &yes, &yes, 6}},
		"a phone that is mum": {`{}`, 4, "undefined", verdict{nil, &yes, &yes, &yes, &yes, 6}},
		"blurred":             {`{px: 14, blur: 40}`, 4, "2", verdict{&yes, &no, &yes, &yes, &yes, 14}},
		"glare":               {`{burn: 0.3}`, 4, "2", verdict{&yes, &yes, &no, &yes, &yes, 6}},
		"too far":             {`{px: 5}`, 1, "2", verdict{&yes, &yes, &yes, &yes, &no, 5}},
		"coarse wires":        {`{px: 17.5}`, 4, "2", verdict{&yes, &yes, &yes, &yes, &yes, 17.5}},
	} {
		got := eval[verdict](b, fmt.Sprintf(`(f => m.judge(f, f, %g, %s))(wires(%s))`, c.full, c.tilt, c.frame))
		g, w := asJSON(t, [5]*bool{got.Level, got.Sharp, got.Glare, got.Ruler, got.Near}), asJSON(t, [5]*bool{c.want.Level, c.want.Sharp, c.want.Glare, c.want.Ruler, c.want.Near})
		if g != w {
			t.Errorf("%s: level, sharp, glare, ruler, near are %s, want %s", name, g, w)
		}
		if d := got.Px/c.want.Px - 1; d > 0.03 || d < -0.03 {
			t.Errorf("%s: a wire every %.2f px, want %g", name, got.Px, c.want.Px)
		}
	}
	flat := eval[verdict](b, `(f => m.judge(f, f, 4, 0))({w: 320, h: 240, v: new Uint8Array(320 * 240).fill(128)})`)
	if flat.Near != nil || *flat.Sharp || *flat.Ruler || flat.Px != 0 {
		t.Errorf("an empty frame: %s", asJSON(t, flat))
	}
	// Light enough for an old phone: a frame of 320 × 240 in far less than the
	// time between two looks, here with much to spare.
	if ms := eval[float64](b, `(() => { const f = wires({}); const t0 = performance.now(); for (let i = 0; i < 10; i++) m.judge(f, f, 4, 0); return (performance.now() - t0) / 10; })()`); ms > 60 {
		t.Errorf("judging a frame takes %.0f ms", ms)
	} else {
		t.Logf("judging a frame takes %.1f ms", ms)
	}
}

// The guide with the browser's make-believe camera: it judges, and the shot goes
// to be measured.
func TestGuideShoots(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/#/guide", 360, 740, false)
	b.click("#start")
	b.wait(`document.querySelector(".checks .ok, .checks .no")`)
	b.shot("360-light-guide-live")
	b.click("#shoot")
	b.wait(`document.querySelector(".answer.refused, .answer.failed")`) // a make-believe camera sees no reed
	if eval[bool](b, `!!document.querySelector("video")`) {
		t.Error("the camera still runs")
	}
}

// Lengths and odds as the page writes them.
func TestUnitsOnThePage(t *testing.T) {
	s := startServer(t, nil)
	b := openTab(t, s.url+"/#/settings", 360, 740, false)
	b.wait(`document.querySelector("main h1")`)
	eval[bool](b, `import("/js/units.js").then(m => { window.u = m; }), true`)
	b.wait(`window.u`)
	for js, want := range map[string]string{
		`u.inches(14.1875)`:            "14 3/16",
		`u.inches(0.5)`:                "½",
		`u.inches(26.5)`:               "26½",
		`u.inches(-0.25)`:              "-¼",
		`u.inches(3.99)`:               "4",
		`u.odds(0.996)`:                "more than 99 in 100",
		`u.odds(0.9899)`:               "98 in 100", // never more than it is
		`u.odds(0.001)`:                "less than 1 in 100",
		`u.plusMinus(9.99941, 0.0288)`: "9.999 ± 0.029",
		`u.plusMinus(10.02, 0.31)`:     "10.0 ± 0.4", // never narrower than it is
		`u.percent(0.00123)`:           "0.12 %",
		`(u.setting.keep("units", "cm"), u.length(10))`: "25.4 cm", // 25.4 mm = 1 in exactly (1959)
		`(u.setting.keep("units", "in"), u.length(10))`: "10 in",
	} {
		if got := eval[string](b, js); got != want {
			t.Errorf("%s is %q, want %q", js, got, want)
		}
	}
}
