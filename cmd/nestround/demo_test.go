package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"nestround/cmd/nestround/demobooks"
)

// output collects the text that a running command writes.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

func await(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited a minute for %s", what)
		}
	}
}

func get(t *testing.T, address string) string {
	t.Helper()
	res, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", address, res.Status, err)
	}
	return string(b)
}

// The demo runs from its first line to the changed round. The digest is in the
// mailbox and the calendar is served. A reply typed into the page comes back
// over IMAP, is recorded, and is answered.
func TestDemo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	ctx, stop := context.WithCancel(t.Context())
	out, errs := &output{}, &output{}
	p := &program{stdin: strings.NewReader(""), stdout: out, stderr: errs, env: func(string) string { return "" }, now: time.Now}
	ended := make(chan int, 1)
	go func() { ended <- p.main(ctx, []string{"demo", "--dir", dir}) }()
	defer func() {
		stop()
		if code := <-ended; code != exitDone {
			t.Errorf("the demo ended with %d\n%s", code, errs)
		}
	}()
	page := regexp.MustCompile(`mailbox and reply +(\S+)`)
	calendar := regexp.MustCompile(`calendar +(http\S+)`)
	await(t, "the links", func() bool { return strings.Contains(out.String(), "Ctrl-C") })
	base := page.FindStringSubmatch(out.String())[1]

	if ics := get(t, calendar.FindStringSubmatch(out.String())[1]); !strings.HasPrefix(ics, "BEGIN:VCALENDAR\r\n") {
		t.Errorf("calendar: %.60q", ics)
	}
	html := get(t, base)
	if !strings.Contains(html, "Round for") || !strings.Contains(html, "Top up the nest box of A1") {
		t.Error("the page does not show the digest and the round")
	}
	once := regexp.MustCompile(`name="once" value="([^"]+)"`).FindStringSubmatch(html)[1]
	// Two clicks on the button send only one mail.
	for range 2 {
		res, err := http.PostForm(base+"reply", url.Values{"once": {once}, "words": {"done 1\nfeed the cat"}})
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("reply: %s, %v", res.Status, err)
		}
		html = string(b)
	}
	for _, want := range []string{"came back over IMAP: 1 recorded, 1 not understood", "Top up the nest box of A1 (Saffron, leopard gecko) · done",
		"Re: your round", "feed the cat"} {
		if !strings.Contains(html, want) {
			t.Errorf("after the reply the page does not say %q", want)
		}
	}
	if n := strings.Count(html, "Re: your round"); n != 1 {
		t.Errorf("%d answers, want 1", n)
	}
	// A form from another site changes nothing, and a GET changes nothing.
	req, err := http.NewRequest(http.MethodPost, base+"reply", strings.NewReader("once=x&words=done+2"))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	if res, err := http.DefaultClient.Do(req); err != nil || res.StatusCode != http.StatusForbidden {
		t.Errorf("a form of another site: %v, %v", res, err)
	}
	if strings.Contains(errs.String(), "panic") {
		t.Error(errs)
	}
}

// SIGTERM ends serve with exit code 0, and serve releases its locks.
func TestServeEndsOnSIGTERM(t *testing.T) {
	dir, bin := demoCommand(t, demobooks.Setting{})
	for range 2 { // the second run must find no lock
		log := &output{}
		cmd := exec.Command(bin, "serve", "--books", dir, "--listen", "127.0.0.1:0")
		cmd.Env = append(os.Environ(), "CLOCK=2027-05-12T06:30:00Z", fmt.Sprint("SET=", time.Now().Format(time.RFC3339Nano)))
		cmd.Stderr = log
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		await(t, "serve", func() bool { return strings.Contains(log.String(), "msg=serving") })
		second := exec.Command(bin, "serve", "--books", dir, "--listen", "127.0.0.1:0")
		second.Env = cmd.Env
		if out, err := second.CombinedOutput(); err == nil || !strings.Contains(string(out), fmt.Sprintf("another nestround (process %d)", cmd.Process.Pid)) {
			t.Errorf("a second serve of the same books: %v\n%s", err, out)
		}
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("serve ended with %v\n%s", err, log)
		}
		if !strings.Contains(log.String(), "msg=stopping") {
			t.Errorf("log:\n%s", log)
		}
	}
}
