package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// pageOf runs radonyear report and gives the path of the page.
func pageOf(t *testing.T, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	var stdout, stderr bytes.Buffer
	status := run(append([]string{"radonyear", "report", "--output", path}, args...), strings.NewReader(""), &stdout, &stderr)
	if status != exitDone && status != exitPartial {
		t.Fatalf("%v: status %d\n%s", args, status, stderr.String())
	}
	return path
}

// browserPages are the pages that are looked at in a browser.
func browserPages(t *testing.T) map[string]string {
	demo := filepath.Join("..", "..", "testdata", "demo")
	return map[string]string{
		"open":     pageOf(t, filepath.Join(demo, "imported-decimal-comma.csv"), "--home", "K-28"),
		"below":    pageOf(t, filepath.Join(demo, "passive.csv"), "--home", "K-01"),
		"above":    pageOf(t, filepath.Join(demo, "passive.csv"), "--home", "K-17", "--level", "200", "--level", "100"),
		"compared": pageOf(t, filepath.Join(demo, "fans.csv"), "--home", "F-03"),
		"town":     pageOf(t, filepath.Join(demo, "passive.csv"), filepath.Join(demo, "short-tests.csv"), filepath.Join(demo, "imported-decimal-comma.csv"), "--community", "--level", "200", "--level", "100", "--recruitment", "volunteer"),
		"several":  pageOf(t, filepath.Join(demo, "fans.csv"), filepath.Join(demo, "short-tests.csv")),
	}
}

// TestPagesInBrowser opens pages in Chromium: at the width of a telephone and of a
// desk nothing sticks out, nothing is fetched and the console is silent.
func TestPagesInBrowser(t *testing.T) {
	b := newBrowser(t)
	keep := os.Getenv("RADONYEAR_PICTURES") // a folder for what was seen
	for name, path := range browserPages(t) {
		for _, width := range []int{360, 1280} {
			b.open(path, width)
			var wide int
			b.eval("document.documentElement.scrollWidth", &wide)
			if wide > width {
				t.Errorf("%s: %d px wide at %d px", name, wide, width)
			}
			for _, c := range b.complaints() {
				t.Errorf("%s: %s", name, c)
			}
			if keep != "" {
				b.screenshot(filepath.Join(keep, name+map[int]string{360: "-360.png", 1280: "-1280.png"}[width]))
			}
		}
	}
}
