package web

import (
	"net"
	"net/http"
	"slices"
	"strings"
	"time"
)

// csp lets the page load what this server serves and nothing else; no script or
// style may stand in the page itself.
const csp = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; media-src 'self' blob:; manifest-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"

// mark is the header that every change carries. A foreign page cannot send it
// without asking first, and is not answered when it asks.
const mark = "X-Dentcount"

// guard stands before everything: it knows the names the server goes by, lets no
// foreign page ask for anything, and lets in who belongs here.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(s.handle(func(http.ResponseWriter, *http.Request) error { return errForeign }))
	inner := cross.Handler(s.handle(func(w http.ResponseWriter, r *http.Request) error {
		if err := s.admit(w, r); err != nil {
			return err
		}
		next.ServeHTTP(w, r)
		return nil
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", csp)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Embedder-Policy", "require-corp")
		h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
		h.Set("X-Frame-Options", "DENY")
		if !s.knownHost(r.Host) {
			s.fail(w, r, bad(http.StatusMisdirectedRequest, "this server does not go by that name", "use the address that dentcount serve prints"))
			return
		}
		inner.ServeHTTP(w, r)
	})
}

var errForeign = bad(http.StatusForbidden, "this was asked for by another site's page", "open dentcount's own page by the address it prints")

// admit says whether a request is one that may be answered.
func (s *Server) admit(w http.ResponseWriter, r *http.Request) error {
	read := r.Method == http.MethodGet || r.Method == http.MethodHead
	if !read && r.Header.Get(mark) == "" {
		return bad(http.StatusForbidden, "a change without the header "+mark, "send it with every POST, PUT, PATCH and DELETE")
	}
	// Another site's page may lead here, as a link does, and get nothing by it.
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		if r.Header.Get("Sec-Fetch-Mode") != "navigate" || strings.HasPrefix(r.URL.Path, "/api/") {
			return errForeign
		}
	}
	if s.set.Gate != nil {
		return s.set.Gate.admit(w, r)
	}
	return nil
}

// knownHost says whether the Host header names this server.
func (s *Server) knownHost(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return slices.Contains(s.set.Hosts, strings.ToLower(host))
}

// answerWithin is how long a request may wait for a measuring; without it the
// server's own time for reading a request would end the wait.
const answerWithin = 2 * time.Minute

// within gives a request that long to be read and answered.
func within(w http.ResponseWriter, d time.Duration) {
	c := http.NewResponseController(w)
	until := time.Now().Add(d)
	// A writer that has no deadline, as in a test, keeps the server's own.
	_ = c.SetReadDeadline(until)
	_ = c.SetWriteDeadline(until.Add(time.Minute))
}
