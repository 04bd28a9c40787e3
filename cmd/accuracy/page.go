package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"os"
	"path/filepath"
	"time"
)

//go:embed page.html
var pageHTML string

var pageTemplate = template.Must(template.New("page").Parse(pageHTML))

// pagePart is what the page shows of one way of asking.
type pagePart struct {
	Heading     string
	Text        string
	Reliability template.HTML // SVG of our own drawing
	Errors      template.HTML
	Risk        template.HTML
}

// writePage writes one self-contained page: plots and the tables of the text.
func writePage(path, title string, samples []sample) error {
	var parts []pagePart
	for _, told := range []bool{true, false} {
		rows := rowsOf(samples, told)
		p := pagePart{Heading: "Ruler's thickness told"}
		if !told {
			p.Heading = "Ruler's thickness not told"
		}
		var b bytes.Buffer
		report(&b, rows, told)
		p.Text = b.String()
		for _, f := range []struct {
			to   *template.HTML
			draw func([]row) ([]byte, error)
		}{{&p.Reliability, reliabilityPlot}, {&p.Errors, errorPlot}, {&p.Risk, riskPlot}} {
			svg, err := f.draw(rows)
			if err != nil {
				return fmt.Errorf("a plot could not be drawn: %w", err)
			}
			*f.to = template.HTML(svg)
		}
		parts = append(parts, p)
	}
	var b bytes.Buffer
	err := pageTemplate.Execute(&b, map[string]any{"Title": title, "Parts": parts, "When": time.Now().Format("2 January 2006, 15:04")})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o666)
}
