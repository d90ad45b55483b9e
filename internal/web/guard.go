package web

import (
	"net"
	"net/http"
	"strings"
)

// policy lets the page load from its own server and from nowhere else. Images
// may be blobs and data because the map library draws through them.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard keeps other machines, other sites open in the same browser, and names
// that were pointed at this machine away from the handler.
func guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusForbidden, "cross_origin", "this request comes from another page", "open the address that route map printed")
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case !loopbackHost(r.Host, r.Context().Value(http.LocalAddrContextKey)):
			refuse(w, http.StatusMisdirectedRequest, "wrong_host", "the page is served at this computer's own address only", "open the address that route map printed")
		case foreignRead(r):
			refuse(w, http.StatusForbidden, "cross_origin", "this request comes from another page", "open the address that route map printed")
		default:
			cross.Handler(next).ServeHTTP(w, r)
		}
	})
}

// loopbackHost says whether a request names this machine itself, at the port
// on which it came in: a foreign name that was pointed at the loopback address
// does not.
func loopbackHost(host string, local any) bool {
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		name, port = host, "80"
	}
	if address, ok := local.(net.Addr); ok {
		if _, own, err := net.SplitHostPort(address.String()); err == nil && own != port {
			return false
		}
	}
	if strings.EqualFold(name, "localhost") {
		return true
	}
	ip := net.ParseIP(strings.Trim(name, "[]"))
	return ip != nil && ip.IsLoopback()
}

// foreignRead says whether another site embeds or fetches something of ours; a
// link to the page is let through.
func foreignRead(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	if site != "cross-site" && site != "same-site" {
		return false
	}
	return r.Method != http.MethodGet || r.Header.Get("Sec-Fetch-Mode") != "navigate" || r.Header.Get("Sec-Fetch-Dest") != "document"
}
