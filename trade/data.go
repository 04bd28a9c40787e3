package trade

import (
	"embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

//go:embed data/*.csv
var dataFiles embed.FS

// table is one CSV file: a header, rows by column name. Lines that start with
// # are the file's own explanation.
type table struct {
	name string
	col  map[string]int
	rows [][]string
}

// readTable parses a table and holds it to the house rules: the columns asked
// for are there, a source column is there, and no row leaves its source empty.
func readTable(name string, r io.Reader, want ...string) (table, error) {
	cr := csv.NewReader(r)
	cr.Comment = '#'
	head, err := cr.Read()
	if err != nil {
		return table{}, fmt.Errorf("%s: no header: %w", name, err)
	}
	t := table{name: name, col: map[string]int{}}
	for i, h := range head {
		t.col[h] = i
	}
	for _, c := range append(want, "source") {
		if _, ok := t.col[c]; !ok {
			return table{}, fmt.Errorf("%s: no column %q", name, c)
		}
	}
	if t.rows, err = cr.ReadAll(); err != nil {
		return table{}, fmt.Errorf("%s: %w", name, err)
	}
	if len(t.rows) == 0 {
		return table{}, fmt.Errorf("%s: no rows", name)
	}
	for i := range t.rows {
		if strings.TrimSpace(t.text(i, "source")) == "" {
			return table{}, fmt.Errorf("%s: row %d has no source", name, i+1)
		}
	}
	return t, nil
}

func (t table) text(row int, col string) string { return t.rows[row][t.col[col]] }

// number reads a cell that must hold a positive finite number.
func (t table) number(row int, col string) (float64, error) {
	x, err := strconv.ParseFloat(t.text(row, col), 64)
	if err == nil && (x <= 0 || math.IsInf(x, 0) || math.IsNaN(x)) {
		err = errors.New("not a positive number")
	}
	if err != nil {
		return 0, fmt.Errorf("%s: row %d, %s: %w", t.name, row+1, col, err)
	}
	return x, nil
}

// mustTable opens an embedded table. The files are part of the program, so a
// bad one is our own fault: it panics, and the tests read every one of them.
func mustTable(name string, want ...string) table {
	f, err := dataFiles.Open("data/" + name)
	if err != nil {
		panic("trade: " + err.Error())
	}
	defer f.Close()
	t, err := readTable(name, f, want...)
	if err != nil {
		panic("trade: " + err.Error())
	}
	return t
}

func (t table) mustNumber(row int, col string) float64 {
	x, err := t.number(row, col)
	if err != nil {
		panic("trade: " + err.Error())
	}
	return x
}

// mustUnitIn is the length in inches of one of the unit named in a cell.
func (t table) mustUnitIn(row int, col string) float64 {
	switch u := t.text(row, col); u {
	case "in":
		return 1
	case "cm":
		return 10 / MMPerInch
	case "mm":
		return 1 / MMPerInch
	default:
		panic(fmt.Sprintf("trade: %s: row %d, %s: unknown unit %q", t.name, row+1, col, u))
	}
}
