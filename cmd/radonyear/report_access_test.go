package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// accessible says what in a page shuts somebody out, or reaches outside of it: a
// small check of our own that needs no browser. Where .ci/run has a browser, a general
// one runs beside it.
func accessible(text []byte) (faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if !bytes.HasPrefix(text, []byte("<!DOCTYPE html>\n")) {
		fault("no document type")
	}
	root, err := parsePage(text)
	if err != nil {
		return []string{err.Error()}
	}
	if h := root.all("html"); len(h) != 1 || h[0].attr["lang"] == "" {
		fault("the language is not said")
	}
	if titles := root.all("title"); len(titles) == 0 || strings.TrimSpace(titles[0].words()) == "" {
		fault("no title")
	}
	if n := len(root.all("h1")); n != 1 {
		fault("%d headings of the first level", n)
	}
	if n := len(root.all("main")); n != 1 {
		fault("%d main parts", n)
	}
	level := 0
	ids := map[string]bool{}
	for _, e := range root.all("") {
		if e.within("svg") && e.name != "svg" && e.name != "title" && e.name != "desc" {
			continue
		}
		if id := e.attr["id"]; id != "" {
			if ids[id] {
				fault("two elements are %q", id)
			}
			ids[id] = true
		}
		switch e.name {
		case "h1", "h2", "h3", "h4", "h5", "h6":
			l := int(e.name[1] - '0')
			if l > level+1 {
				fault("a heading of level %d under one of level %d: %q", l, level, e.words())
			}
			level = l
			if strings.TrimSpace(e.words()) == "" {
				fault("an empty heading")
			}
		case "th":
			if s := e.attr["scope"]; s != "col" && s != "row" {
				fault("a table's head without its scope: %q", e.words())
			}
		case "table":
			if c := e.all("caption"); len(c) != 1 || strings.TrimSpace(c[0].words()) == "" {
				fault("a table without a caption")
			}
			if len(e.all("thead")) != 1 {
				fault("a table without a head to repeat on the next sheet")
			}
			width := -1
			for _, row := range e.all("tr") {
				n := len(row.all("th")) + len(row.all("td"))
				if width >= 0 && n != width {
					fault("a row of %d cells in a table of %d columns", n, width)
				}
				width = n
			}
		case "img":
			if e.attr["alt"] == "" {
				fault("a picture without words")
			}
		case "svg":
			if t := e.all("title"); e.attr["role"] != "img" || len(t) == 0 || strings.TrimSpace(t[0].words()) == "" {
				fault("a drawing without a title")
			}
		case "a":
			if strings.TrimSpace(e.words()) == "" {
				fault("a link without words")
			}
		case "script", "link", "iframe", "object", "embed", "form", "input", "base":
			fault("the page has a <%s>", e.name)
		}
		for name, value := range e.attr {
			if strings.HasPrefix(name, "on") {
				fault("%s on a <%s>", name, e.name)
			}
			if (name == "href" || name == "src" || name == "srcset" || name == "data" || name == "action") && !strings.HasPrefix(value, "#") {
				fault("%s=%q leads out of the page", name, value)
			}
		}
	}
	for _, e := range root.all("") {
		for _, by := range strings.Fields(e.attr["aria-labelledby"]) {
			if !ids[by] {
				fault("a label %q that is not there", by)
			}
		}
		if to, ok := strings.CutPrefix(e.attr["href"], "#"); ok && !ids[to] {
			fault("a link to %q, which is not there", to)
		}
	}
	for _, s := range root.all("style") {
		css := s.words()
		for _, bad := range []string{"url(", "@import", "@font-face"} {
			if strings.Contains(css, bad) {
				fault("the style has %s", bad)
			}
		}
		faults = append(faults, contrasts(css)...)
	}
	return faults
}

// leastContrast is what text needs (WCAG 2.2, success criterion 1.4.6, level AAA).
const leastContrast = 7.0

// contrasts holds every color of text in a style against its paper.
func contrasts(css string) (faults []string) {
	named := map[string]string{}
	for _, m := range regexp.MustCompile(`--([a-z]+):\s*(#[0-9a-f]+)`).FindAllStringSubmatch(css, -1) {
		named[m[1]] = m[2]
	}
	paper, ok := named["paper"]
	if !ok {
		return []string{"the style names no paper"}
	}
	colors := regexp.MustCompile(`(?:^|[\s;{])color:\s*([^;}]+)`).FindAllStringSubmatch(css, -1)
	if len(colors) == 0 {
		return []string{"the style names no color of text"}
	}
	for _, m := range colors {
		color := strings.TrimSpace(m[1])
		if v, ok := strings.CutPrefix(color, "var(--"); ok {
			color = named[strings.TrimSuffix(v, ")")]
		}
		if c := contrast(color, paper); !(c >= leastContrast) {
			faults = append(faults, fmt.Sprintf("text of color %q has a contrast of %.2f with the paper", m[1], c))
		}
	}
	return faults
}

// contrast is the contrast ratio of two colors (WCAG 2.2, relative luminance).
func contrast(a, b string) float64 {
	luminance := func(hex string) float64 {
		hex = strings.TrimPrefix(hex, "#")
		if len(hex) == 3 {
			hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
		}
		sum := 0.0
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			n, err := strconv.ParseUint(hex[min(2*i, len(hex)):min(2*i+2, len(hex))], 16, 8)
			if err != nil {
				return math.NaN()
			}
			c := float64(n) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += weight * c
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// TestContrast: black on white is 21 by definition; #767676 on white is the well-known
// grey that just has 4.5 (W3C, Understanding WCAG 2.2, 1.4.3: 4.54).
func TestContrast(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000", "#fff", 21}, {"#767676", "#ffffff", 4.54}, {"#fff", "#fff", 1}} {
		if got := contrast(c.a, c.b); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%s on %s: %.3f, want %.2f", c.a, c.b, got, c.want)
		}
	}
}

func TestPagesAccessible(t *testing.T) {
	skipShort(t)
	t.Parallel()
	for name, path := range browserPages(t) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range accessible(text) {
			t.Errorf("%s: %s", name, f)
		}
	}
}

// TestAccessibleTells shows that each of the checks can fail.
func TestAccessibleTells(t *testing.T) {
	text, err := os.ReadFile(pageOf(t, filepath.Join("..", "..", "testdata", "demo", "imported-decimal-comma.csv"), "--home", "K-28"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, fault string }{
		{`<html lang="en">`, `<html>`, "language"},
		{`</h1>`, `</h1><h3>deep</h3>`, "heading of level 3"},
		{`<title>`, `<title> </title><title>`, "no title"},
		{`</h1>`, `</h1><h1>again</h1>`, "2 headings"},
		{` scope="col"`, ``, "scope"},
		{`id="table-2"`, `id="table-1"`, `two elements`},
		{`id="table-2"`, `id="table-x"`, `a label "table-2"`},
		{`<td`, `<td>more</td><td`, "cells in a table"},
		{`thead`, `tbody`, "without a head"},
		{`<p>`, `<p><img src="x.png" alt=""/>`, "without words"},
		{`<p>`, `<p><img src="http://example.org/x.png" alt="x"/>`, "leads out"},
		{`<p>`, `<p><svg role="img"></svg>`, "without a title"},
		{`<p>`, `<p><a href="#nowhere">x</a>`, "not there"},
		{`<p>`, `<p onclick="x()">`, "onclick"},
		{`</header>`, `<script>x()</script></header>`, "<script>"},
		{`<style>`, `<style>@import "x.css";`, "@import"},
		{`--second: #4a4a4a`, `--second: #8a8a8a`, "contrast"},
		{`<p>`, `<p><b>`, "syntax error"},
	} {
		if !bytes.Contains(text, []byte(c.old)) {
			t.Errorf("the page has no %q", c.old)
			continue
		}
		faults := accessible(bytes.Replace(text, []byte(c.old), []byte(c.new), map[bool]int{true: -1, false: 1}[c.old == "thead" || c.old == ` scope="col"`]))
		if !slices.ContainsFunc(faults, func(f string) bool { return strings.Contains(f, c.fault) }) {
			t.Errorf("%q for %q: %v, want %q", c.new, c.old, faults, c.fault)
		}
	}
}
