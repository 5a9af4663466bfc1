// Package ping requests a web address, so that a watcher on another machine knows
// that the program is well.
//
// [Get] makes one request with GET. It sends no data: no query of its own, no
// body, no cookie. The answer is bounded in time and size, and only its status
// counts. The address may hold a secret token, so no error contains more of it
// than the host.
package ping

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"
)

const (
	// Timeout limits a request with all its redirects.
	Timeout = 30 * time.Second
	// redirects is the largest number of redirects that are followed.
	redirects = 3
	// most is the number of bytes that are read of an answer, in its header and
	// in its body.
	most = 64 << 10
)

// errPlain refuses a request in clear that could cross the Internet, where others
// could read the token in the address.
var errPlain = errors.New("http may only go to this machine or a private address; write https")

// near reports whether an address is of this machine or of a private network
// (RFC 1918, RFC 4193, and link-local addresses).
func near(a netip.Addr) bool {
	a = a.Unmap()
	return a.IsLoopback() || a.IsPrivate() || a.IsLinkLocalUnicast()
}

// Get requests an address of https, or of http on this machine or in a private
// network. It returns nil if the answer has a status of success (RFC 9110,
// section 15.3).
func Get(ctx context.Context, u *url.URL) error {
	ctx, cancel := context.WithTimeout(ctx, Timeout)
	defer cancel()
	client := &http.Client{
		Transport: &http.Transport{
			Proxy: func(r *http.Request) (*url.URL, error) {
				if r.URL.Scheme == "http" {
					return nil, nil
				}
				return http.ProxyFromEnvironment(r)
			},
			DialContext:            dial(u.Scheme),
			MaxResponseHeaderBytes: most,
			DisableKeepAlives:      true,
			DisableCompression:     true,
		},
		CheckRedirect: func(r *http.Request, via []*http.Request) error {
			r.Header.Del("Referer") // it would tell the token to the next server
			switch {
			case len(via) > redirects:
				return fmt.Errorf("more than %d redirects", redirects)
			case via[0].URL.Scheme != r.URL.Scheme:
				return fmt.Errorf("a redirect from %s to %s", via[0].URL.Scheme, r.URL.Scheme)
			}
			return nil
		},
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return errors.New("the request cannot be made")
	}
	r.Header.Set("User-Agent", "nestround")
	answer, err := client.Do(r)
	if err != nil {
		return withoutAddress(err, u)
	}
	defer answer.Body.Close()
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return fmt.Errorf("it answered with the status %d", answer.StatusCode)
	}
	if _, err := io.Copy(io.Discard, io.LimitReader(answer.Body, most)); err != nil {
		return withoutAddress(err, u)
	}
	return nil
}

// dial returns a function that connects. For http, it refuses an address that is not
// near, also if the name of the host resolves to such an address.
func dial(scheme string) func(ctx context.Context, network, addr string) (net.Conn, error) {
	d := net.Dialer{Timeout: 10 * time.Second}
	if scheme == "http" {
		d.Control = func(_, address string, _ syscall.RawConn) error {
			if a, err := netip.ParseAddrPort(address); err != nil || !near(a.Addr()) {
				return errPlain
			}
			return nil
		}
	}
	return d.DialContext
}

// withoutAddress returns the cause of a failed request, without the path and query
// of the address, which may hold the token.
func withoutAddress(err error, u *url.URL) error {
	for e := (*url.Error)(nil); errors.As(err, &e); {
		err = e.Err
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("it did not answer within %v", Timeout)
	}
	for _, part := range []string{strings.Trim(u.EscapedPath(), "/"), strings.Trim(u.Path, "/"), u.RawQuery} {
		if part != "" && strings.Contains(err.Error(), part) {
			return errors.New("the request failed")
		}
	}
	return err
}
