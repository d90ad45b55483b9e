package web

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// TestGuard sends what browsers send from this page, from other pages and under
// other names. The header values are those of Fetch Metadata (W3C) and of
// RFC 6454; a foreign name that was pointed at the loopback address is DNS
// rebinding.
func TestGuard(t *testing.T) {
	own, err := net.ResolveTCPAddr("tcp", "127.0.0.1:8031")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, method, host string
		header             map[string]string
		want               int
	}{
		{"the page itself", "GET", "127.0.0.1:8031", nil, 200},
		{"by name", "GET", "localhost:8031", nil, 200},
		{"by name, in capitals", "GET", "LOCALHOST:8031", nil, 200},
		{"over IPv6", "GET", "[::1]:8031", nil, 200},
		{"its own script", "POST", "127.0.0.1:8031", map[string]string{"Origin": "http://127.0.0.1:8031", "Sec-Fetch-Site": "same-origin"}, 200},
		{"a program without a browser", "POST", "127.0.0.1:8031", nil, 200},
		{"typed into the address line", "GET", "127.0.0.1:8031", map[string]string{"Sec-Fetch-Site": "none", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 200},
		{"a link on another page", "GET", "127.0.0.1:8031", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 200},

		{"a rebound name", "GET", "evil.example:8031", nil, 421},
		{"a rebound name that begins like ours", "GET", "127.0.0.1.evil.example:8031", nil, 421},
		{"a rebound name that ends like ours", "GET", "localhost.evil.example:8031", nil, 421},
		{"another port", "GET", "127.0.0.1:8032", nil, 421},
		{"no port", "GET", "127.0.0.1", nil, 421},
		{"another machine's address", "GET", "192.168.1.20:8031", nil, 421},
		{"any address", "GET", "0.0.0.0:8031", nil, 421},
		{"no host", "GET", "", nil, 421},
		{"an image on another page", "GET", "127.0.0.1:8031", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"}, 403},
		{"a frame on another page", "GET", "127.0.0.1:8031", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}, 403},
		{"a page at another port", "GET", "127.0.0.1:8031", map[string]string{"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors", "Sec-Fetch-Dest": "empty"}, 403},
		{"a form on another page", "POST", "127.0.0.1:8031", map[string]string{"Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 403},
		{"a script at another port", "POST", "127.0.0.1:8031", map[string]string{"Origin": "http://127.0.0.1:9999", "Sec-Fetch-Site": "same-site"}, 403},
		{"an old browser on another page", "POST", "127.0.0.1:8031", map[string]string{"Origin": "https://evil.example"}, 403},
		{"a sandboxed page", "POST", "127.0.0.1:8031", map[string]string{"Origin": "null"}, 403},
		{"a rebound script", "POST", "evil.example:8031", map[string]string{"Origin": "http://evil.example:8031", "Sec-Fetch-Site": "same-origin"}, 421},
	} {
		t.Run(c.name, func(t *testing.T) {
			through := false
			h := guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { through = true }))
			r := httptest.NewRequest(c.method, "http://127.0.0.1:8031/api/scene", nil)
			r.Host = c.host
			for k, v := range c.header {
				r.Header.Set(k, v)
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, own)))
			if w.Code != c.want || through != (c.want == 200) {
				t.Errorf("status %d, let through: %v; want %d", w.Code, through, c.want)
			}
			if c.want != 200 {
				refusalOf(t, w)
			}
		})
	}
}

// TestSecurityHeaders holds that every answer, a refusal too, forbids the
// browser to load from elsewhere, to be framed and to share (CSP level 3, Fetch).
func TestSecurityHeaders(t *testing.T) {
	h := handler(t)
	for _, host := range []string{"127.0.0.1", "evil.example"} {
		r := httptest.NewRequest(http.MethodGet, "http://"+host+"/api/scene", nil)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		directives := map[string]string{}
		for part := range strings.SplitSeq(w.Header().Get("Content-Security-Policy"), ";") {
			name, value, _ := strings.Cut(strings.TrimSpace(part), " ")
			directives[name] = value
		}
		for name, want := range map[string]string{"default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "connect-src": "'self'", "base-uri": "'none'", "form-action": "'none'", "frame-ancestors": "'none'"} {
			if directives[name] != want {
				t.Errorf("%s: %s is %q, want %q", host, name, directives[name], want)
			}
		}
		for name, value := range directives {
			if strings.Contains(value, "unsafe") || strings.Contains(value, "*") || strings.Contains(value, "http") {
				t.Errorf("%s allows %s", name, value)
			}
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin", "Cache-Control": "no-store", "Access-Control-Allow-Origin": ""} {
			if got := w.Header().Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", host, name, got, want)
			}
		}
	}
}

// TestListensAtHomeOnly tries addresses at which other machines could ask.
func TestListensAtHomeOnly(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:0", "example.org:0", "127.0.0.1", "", "localhost:99999"} {
		if l, err := Listen(address); err == nil {
			l.Close()
			t.Errorf("%q is listened at", address)
		}
	}
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if ip := l.Addr().(*net.TCPAddr).IP; !ip.IsLoopback() {
		t.Errorf("listens at %v", ip)
	}
}

// TestNoInlineCode holds that the page needs nothing that the policy forbids.
func TestNoInlineCode(t *testing.T) {
	if !Built() {
		t.Skip("left out: internal/web/dist has no map page; make web builds it, with Node 18 or newer and npm")
	}
	page, err := dist.ReadFile("dist/index.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<style", " style=", " onclick=", "http://", "https://", "javascript:"} {
		if bytes.Contains(page, []byte(bad)) {
			t.Errorf("index.html has %q", bad)
		}
	}
	if n := bytes.Count(page, []byte("<script")); n != 1 || !bytes.Contains(page, []byte(`<script type="module" src="page.js"></script>`)) {
		t.Errorf("%d scripts in index.html, want the bundle alone", n)
	}
}
