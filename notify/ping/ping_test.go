package ping

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"testing/synctest"
)

const token = "squeamish-ossifrage"

func parse(t *testing.T, s string) *url.URL {
	t.Helper()
	u, err := url.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// The request carries nothing but the address.
func TestGetSendsNoData(t *testing.T) {
	var got []*http.Request
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if b, err := io.ReadAll(r.Body); err != nil || len(b) > 0 {
			t.Errorf("body %q, %v", b, err)
		}
		got = append(got, r)
		http.SetCookie(w, &http.Cookie{Name: "a", Value: "b"})
		if r.URL.Path == "/"+token {
			http.Redirect(w, r, "/next", http.StatusFound)
		}
	}))
	defer server.Close()
	if err := Get(t.Context(), parse(t, server.URL+"/"+token)); err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 {
		t.Fatalf("%d requests", len(got))
	}
	for _, r := range got {
		r.Header.Del("Connection")
		if r.Method != "GET" || r.URL.RawQuery != "" || len(r.Header) != 1 || r.Header.Get("User-Agent") != "nestround" {
			t.Errorf("%s %s: %v", r.Method, r.URL, r.Header)
		}
	}
}

func TestGetFails(t *testing.T) {
	closed := httptest.NewServer(nil)
	closed.Close()
	for name, c := range map[string]struct {
		answer http.HandlerFunc
		want   string
	}{
		"not found":          {func(w http.ResponseWriter, r *http.Request) { http.NotFound(w, r) }, "it answered with the status 404"},
		"server error":       {func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(500) }, "it answered with the status 500"},
		"redirects for ever": {func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, r.URL.Path, http.StatusFound) }, "more than 3 redirects"},
		"to another scheme": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "https://example.org/", http.StatusFound)
		}, "a redirect from http to https"},
		"to a public address": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://203.0.113.7/", http.StatusFound)
		}, "http may only go to this machine"},
		"a place that is no address": {func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Location", "http://%zz/"+token)
			w.WriteHeader(http.StatusFound)
		}, "the request failed"},
		"an endless header": {func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("X", strings.Repeat("x", 4*most))
		}, "server response headers exceeded"},
		"no answer": {nil, "connection refused"},
	} {
		address := closed.URL
		if c.answer != nil {
			server := httptest.NewServer(c.answer)
			defer server.Close()
			address = server.URL
		}
		err := Get(t.Context(), parse(t, address+"/"+token))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if err != nil && strings.Contains(err.Error(), token) {
			t.Errorf("%s: the error tells the address: %v", name, err)
		}
	}
}

// An answer without end counts as an answer after its first bytes.
func TestGetReadsBoundedBytes(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b := make([]byte, 32<<10)
		for {
			if _, err := w.Write(b); err != nil {
				return
			}
		}
	}))
	defer server.Close()
	if err := Get(t.Context(), parse(t, server.URL)); err != nil {
		t.Error(err)
	}
}

// A name that stands for a public address is refused when the connection is
// made.
func TestPlainHTTPStaysNearby(t *testing.T) {
	if _, err := dial("http")(t.Context(), "tcp", "203.0.113.7:80"); !errors.Is(err, errPlain) {
		t.Errorf("got %v", err)
	}
}

// A server that never answers ends the request by the time limit.
func TestGetEndsInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		client, server := net.Pipe()
		defer server.Close()
		ctx, cancel := context.WithTimeout(t.Context(), Timeout)
		defer cancel()
		go io.Copy(io.Discard, server)
		transport := &http.Transport{DialContext: func(context.Context, string, string) (net.Conn, error) { return client, nil }}
		r, err := http.NewRequestWithContext(ctx, "GET", "http://127.0.0.1/"+token, nil)
		if err != nil {
			t.Fatal(err)
		}
		_, err = (&http.Client{Transport: transport}).Do(r)
		if err = withoutAddress(err, r.URL); err == nil || err.Error() != "it did not answer within 30s" {
			t.Errorf("got %v", err)
		}
	})
}
