package main

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// browser speaks to a headless Chromium over the pipe of its DevTools protocol: one
// JSON message after another, each ended by a zero byte. It is only used where
// RADONYEAR_CHROMIUM names the program, as .ci/run does.
type browser struct {
	t       *testing.T
	in      io.WriteCloser
	mu      sync.Mutex
	next    int
	waiting map[int]chan reply
	events  []event // of the page, in order
	session string
}

type reply struct {
	Result json.RawMessage
	Error  *struct{ Message string }
}

type event struct {
	Method string
	Params json.RawMessage
}

// newBrowser starts Chromium with one empty page, or skips the test.
func newBrowser(t *testing.T) *browser {
	t.Helper()
	program := os.Getenv("RADONYEAR_CHROMIUM")
	if program == "" {
		t.Skip("RADONYEAR_CHROMIUM names no Chromium")
	}
	// Chromium reads file descriptor 3 and writes 4.
	toRead, toWrite, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	fromRead, fromWrite, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars",
		"--no-first-run", "--disable-background-networking", "--disable-component-update", "--force-device-scale-factor=1",
		"--remote-debugging-pipe", "--user-data-dir="+t.TempDir(), "about:blank")
	cmd.ExtraFiles = []*os.File{toRead, fromWrite}
	if err := cmd.Start(); err != nil {
		t.Fatalf("%s: %v", program, err)
	}
	toRead.Close()
	fromWrite.Close()
	b := &browser{t: t, in: toWrite, waiting: map[int]chan reply{}}
	go b.read(fromRead)
	t.Cleanup(func() {
		b.mu.Lock()
		b.session = ""
		b.mu.Unlock()
		b.call("Browser.close", nil, nil)
		toWrite.Close()
		cmd.Wait()
		fromRead.Close()
	})
	var target struct{ TargetID string }
	b.must("Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	var attached struct{ SessionID string }
	b.must("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	b.session = attached.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		b.must(domain+".enable", nil, nil)
	}
	return b
}

func (b *browser) read(from io.Reader) {
	r := bufio.NewReaderSize(from, 1<<20)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			b.mu.Lock()
			for _, w := range b.waiting {
				close(w)
			}
			b.waiting = nil
			b.mu.Unlock()
			return
		}
		var m struct {
			ID int
			reply
			event
		}
		if err := json.Unmarshal(bytes.TrimSuffix(text, []byte{0}), &m); err != nil {
			continue
		}
		b.mu.Lock()
		if m.ID == 0 {
			b.events = append(b.events, m.event)
		} else if w := b.waiting[m.ID]; w != nil {
			w <- m.reply
			delete(b.waiting, m.ID)
		}
		b.mu.Unlock()
	}
}

func (b *browser) call(method string, params map[string]any, result any) error {
	b.mu.Lock()
	if b.waiting == nil {
		b.mu.Unlock()
		return errors.New("the browser is gone")
	}
	b.next++
	w := make(chan reply, 1)
	b.waiting[b.next] = w
	message := map[string]any{"id": b.next, "method": method}
	if params != nil {
		message["params"] = params
	}
	if b.session != "" {
		message["sessionId"] = b.session
	}
	b.mu.Unlock()
	text, err := json.Marshal(message)
	if err != nil {
		return err
	}
	if _, err := b.in.Write(append(text, 0)); err != nil {
		return err
	}
	select {
	case r, ok := <-w:
		switch {
		case !ok:
			return errors.New("the browser is gone")
		case r.Error != nil:
			return errors.New(r.Error.Message)
		case result != nil:
			return json.Unmarshal(r.Result, result)
		}
		return nil
	case <-time.After(2 * time.Minute):
		return errors.New("no answer within two minutes")
	}
}

func (b *browser) must(method string, params map[string]any, result any) {
	b.t.Helper()
	if err := b.call(method, params, result); err != nil {
		b.t.Fatalf("%s: %v", method, err)
	}
}

// open loads a file at a width in CSS pixels and waits until it stands.
func (b *browser) open(path string, width int) {
	b.t.Helper()
	path, err := filepath.Abs(path)
	if err != nil {
		b.t.Fatal(err)
	}
	b.must("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false}, nil)
	b.mu.Lock()
	b.events = nil
	b.mu.Unlock()
	b.must("Page.navigate", map[string]any{"url": "file://" + path}, nil)
	for range 600 {
		if b.saw("Page.loadEventFired") {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("%s did not load", path)
}

func (b *browser) saw(method string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.events {
		if e.Method == method {
			return true
		}
	}
	return false
}

// complaints are what the console said since open, and whatever was fetched beside
// the file itself.
func (b *browser) complaints() (out []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	requests := 0
	for _, e := range b.events {
		switch e.Method {
		case "Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Network.loadingFailed":
			out = append(out, e.Method+" "+string(e.Params))
		case "Network.requestWillBeSent":
			if requests++; requests > 1 {
				out = append(out, "fetched: "+string(e.Params))
			}
		}
	}
	return out
}

// eval runs a script in the page and decodes what it gives.
func (b *browser) eval(script string, result any) {
	b.t.Helper()
	var r struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	b.must("Runtime.evaluate", map[string]any{"expression": script, "returnByValue": true, "awaitPromise": true}, &r)
	if x := r.ExceptionDetails; x != nil {
		b.t.Fatalf("%s %s", x.Text, x.Exception.Description)
	}
	if result != nil {
		if err := json.Unmarshal(r.Result.Value, result); err != nil {
			b.t.Fatalf("%s: %v", r.Result.Value, err)
		}
	}
}

// screenshot writes the whole page as PNG.
func (b *browser) screenshot(path string) {
	b.t.Helper()
	var size struct{ Width, Height float64 }
	b.eval(`({Width: document.documentElement.clientWidth, Height: document.documentElement.scrollHeight})`, &size)
	var shot struct{ Data string }
	b.must("Page.captureScreenshot", map[string]any{"format": "png", "captureBeyondViewport": true,
		"clip": map[string]any{"x": 0, "y": 0, "width": size.Width, "height": size.Height, "scale": 1}}, &shot)
	b.save(path, shot.Data)
}

// pdf prints the page; width and height are in inches, as 8.27 by 11.69 for A4.
func (b *browser) pdf(path string, width, height float64) {
	b.t.Helper()
	var printed struct{ Data string }
	b.must("Page.printToPDF", map[string]any{"paperWidth": width, "paperHeight": height, "preferCSSPageSize": false, "printBackground": false}, &printed)
	b.save(path, printed.Data)
}

func (b *browser) save(path, data string) {
	b.t.Helper()
	raw, err := base64.StdEncoding.DecodeString(data)
	if err == nil {
		err = os.WriteFile(path, raw, 0o644)
	}
	if err != nil {
		b.t.Fatal(err)
	}
}

// TestBrowserTells shows that what the checks listen for is heard.
func TestBrowserTells(t *testing.T) {
	b := newBrowser(t)
	path := filepath.Join(t.TempDir(), "bad.html")
	bad := `<!DOCTYPE html><title>x</title><img src="missing.png"><div style="width:2000px">wide</div><script>console.error("heard"); undefinedFunction()</script>`
	if err := os.WriteFile(path, []byte(bad), 0o644); err != nil {
		t.Fatal(err)
	}
	b.open(path, 360)
	var width int
	b.eval("document.documentElement.scrollWidth", &width)
	if width <= 360 {
		t.Errorf("a page of 2000 px is said to be %d px wide", width)
	}
	all := fmt.Sprint(b.complaints())
	for _, want := range []string{"heard", "undefinedFunction", "missing.png"} {
		if !strings.Contains(all, want) {
			t.Errorf("nothing was heard of %s in %s", want, all)
		}
	}
}
