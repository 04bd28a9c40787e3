package trade

import (
	"io/fs"
	"strings"
	"testing"
)

// Every embedded table parses, and is reached by the functions that read it.
func TestEveryTableLoads(t *testing.T) {
	files, err := fs.Glob(dataFiles, "data/*.csv")
	if err != nil || len(files) != 8 {
		t.Fatalf("embedded tables: %v, %v; want 8", files, err)
	}
	for _, f := range files {
		tab := mustTable(strings.TrimPrefix(f, "data/"))
		if len(tab.rows) < 3 {
			t.Errorf("%s: only %d rows", f, len(tab.rows))
		}
		for i := range tab.rows {
			src := tab.text(i, "source")
			named := len(src) > 25 // a publication is named at some length
			if src != "common practice, no source" && src != "from memory" && !named {
				t.Errorf("%s row %d: source %q is neither of the two phrases nor a publication", f, i+1, src)
			}
		}
	}
	for name, n := range map[string]int{
		"reed": len(Sizes(PartReed)), "rigid": len(Sizes(PartRigidHeddle)), "counts": len(Counts()),
		"wire": len(WireHeddleSizes()), "string": len(StringHeddleSizes()), "widths": len(RigidWidths()), "classes": len(rulerTable()), "yarns": len(yarnCounts()),
	} {
		if n == 0 {
			t.Errorf("%s: empty", name)
		}
	}
}

func TestReadTableRefuses(t *testing.T) {
	for name, text := range map[string]string{
		"empty":            "",
		"comment only":     "# nothing\n",
		"no source column": "label,weight\n4,1\n",
		"missing column":   "label,source\n4,from memory\n",
		"empty source":     "label,weight,source\n4,1, \n",
		"ragged":           "label,weight,source\n4,1\n",
		"no rows":          "label,weight,source\n",
	} {
		if _, err := readTable(name, strings.NewReader(text), "weight"); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	tab, err := readTable("x", strings.NewReader("label,weight,source\n4,1,from memory\n5,-1,from memory\n6,x,from memory\n7,NaN,from memory\n"), "weight")
	if err != nil {
		t.Fatal(err)
	}
	for row, ok := range []bool{true, false, false, false} {
		if _, err := tab.number(row, "weight"); (err == nil) != ok {
			t.Errorf("row %d: err %v, want ok %v", row, err, ok)
		}
	}
}

// What a caller does to a list must not reach the tables.
func TestListsAreCopies(t *testing.T) {
	Sizes(PartReed)[0].Label = "broken"
	Counts()[0].ID = "broken"
	WireHeddleSizes()[0].Label = "broken"
	if Sizes(PartReed)[0].Label == "broken" || Counts()[0].ID == "broken" || WireHeddleSizes()[0].Label == "broken" {
		t.Error("a caller's change reached the table")
	}
}
