package web

import (
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"strings"
	"sync"
)

// enterPath is where a token is shown; the rest of the path is the token.
const enterPath = "/enter/"

// sessionCookie holds what a token was exchanged for. The prefix of a secured
// name is for HTTPS alone.
const sessionCookie = "dentcount-session"

// Gate lets in whoever has shown a token that nobody has shown before. A token
// works once: it is exchanged for a cookie, and a new one is made for the next
// device.
type Gate struct {
	secure bool // the cookie is for HTTPS alone
	used   func(next string)

	mu       sync.Mutex
	token    string
	sessions map[[sha256.Size]byte]bool // digests of the cookies' values
}

// maxSessions bounds how many devices are let in.
const maxSessions = 64

// NewGate makes a gate and its first token. used is told the next token each
// time one was used.
func NewGate(secure bool, used func(next string)) (g *Gate, token string) {
	g = &Gate{secure: secure, used: used, token: newID(), sessions: map[[sha256.Size]byte]bool{}}
	return g, g.token
}

// EnterPath is the path of the address that a token opens.
func EnterPath(token string) string { return enterPath + token }

// admit lets a request through that carries a session; an address with a token
// is exchanged here and answered by errEntered.
func (g *Gate) admit(w http.ResponseWriter, r *http.Request) error {
	if shown, ok := strings.CutPrefix(r.URL.Path, enterPath); ok {
		if r.Method != http.MethodGet {
			return errNoToken
		}
		session, next, ok := g.exchange(shown)
		if !ok {
			return errNoToken
		}
		http.SetCookie(w, &http.Cookie{Name: sessionCookie, Value: session, Path: "/", HttpOnly: true, Secure: g.secure, SameSite: http.SameSiteStrictMode})
		if g.used != nil {
			g.used(next)
		}
		r.URL.Path = enteredPath
		return nil
	}
	c, err := r.Cookie(sessionCookie)
	if err != nil || !g.knows(c.Value) {
		return errNoToken
	}
	return nil
}

// enteredPath is answered with a small page that goes on to the real one: sent
// on from a scanned code by a redirect, a browser might hold the strict cookie
// back.
const enteredPath = "/entered"

var errNoToken = bad(http.StatusUnauthorized, "this page is not open to you", "scan the code that dentcount serve shows in its terminal; each code works once")

func (g *Gate) exchange(shown string) (session, next string, ok bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.sessions) >= maxSessions {
		return "", "", false
	}
	if subtle.ConstantTimeCompare([]byte(shown), []byte(g.token)) != 1 {
		return "", "", false
	}
	session = newID()
	g.sessions[sha256.Sum256([]byte(session))] = true
	g.token = newID()
	return session, g.token, true
}

func (g *Gate) knows(session string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.sessions[sha256.Sum256([]byte(session))]
}
