package main

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"dentcount/measure"
	"dentcount/shelf"
	"dentcount/web"
)

// serving is a dentcount serve that runs in this process.
type serving struct {
	t        *testing.T
	out, err lockedWriter
	stop     context.CancelFunc
	done     chan error
}

// startServing runs serve on a free port. Its local network has one machine, at
// an address of the documentation's private range; it is reached by loopback.
func startServing(t *testing.T, f serveFlags) *serving {
	t.Helper()
	s, err := shelf.Open(context.Background(), filepath.Join(t.TempDir(), "shelf.db"), shelf.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	v := &serving{t: t, stop: stop, done: make(chan error, 1)}
	f.addrs = oneNetwork("10.20.30.40")
	a := &app{stdout: &v.out, stderr: &v.err, getenv: func(string) string { return "" }}
	go func() { v.done <- a.serve(ctx, f, web.Settings{Shelf: s}) }()
	t.Cleanup(func() {
		stop()
		if err := <-v.done; err != nil {
			t.Errorf("serve ended with %v", err)
		}
		s.Close()
	})
	return v
}

func oneNetwork(ip string) func() ([]net.Addr, error) {
	return func() ([]net.Addr, error) {
		return []net.Addr{&net.IPNet{IP: net.IPv4(127, 0, 0, 1)}, &net.IPNet{IP: net.ParseIP(ip), Mask: net.CIDRMask(24, 32)}}, nil
	}
}

// find waits for what the pattern's group finds in what was printed, the nth time.
func (v *serving) find(pattern string, nth int) string {
	v.t.Helper()
	until := time.Now().Add(10 * time.Second)
	for {
		if all := regexp.MustCompile(pattern).FindAllStringSubmatch(v.out.String(), -1); len(all) >= nth {
			return all[nth-1][1]
		}
		if time.Now().After(until) {
			v.t.Fatalf("%s is not printed %d times in\n%s%s", pattern, nth, v.out.String(), v.err.String())
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// get asks by the loopback for an address that was printed.
func (v *serving) get(address string, cookies ...*http.Cookie) *http.Response {
	v.t.Helper()
	r, err := http.NewRequest("GET", address, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	r.Host = r.URL.Host
	r.URL.Host = "127.0.0.1:" + r.URL.Port()
	for _, c := range cookies {
		r.AddCookie(c)
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	resp, err := client.Do(r)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	if _, err := io.Copy(io.Discard, resp.Body); err != nil {
		v.t.Fatal(err)
	}
	return resp
}

// Without --lan the page is open at the printed address, to this machine alone.
func TestServeLocal(t *testing.T) {
	v := startServing(t, serveFlags{})
	address := v.find(`(http://127\.0\.0\.1:\d+/)\n`, 1)
	if r := v.get(address); r.StatusCode != 200 {
		t.Errorf("%s: %d", address, r.StatusCode)
	}
	if r := v.get(strings.Replace(address, "127.0.0.1", "10.20.30.40", 1)); r.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("by another name: %d", r.StatusCode)
	}
	if strings.Contains(v.out.String(), "enter") || !strings.Contains(v.err.String(), "Ctrl-C") {
		t.Errorf("printed %q, %q", v.out.String(), v.err.String())
	}
}

// With --lan an address with a token and its code are printed; the token opens
// the page once, and then the next is printed.
func TestServeLAN(t *testing.T) {
	v := startServing(t, serveFlags{lan: true})
	const pattern = `(http://10\.20\.30\.40:\d+/enter/[\w-]{22})\n`
	address := v.find(pattern, 1)
	v.find(`(plain HTTP)`, 1) // follows the address
	if printed := v.out.String(); strings.Count(printed, "█") < 100 || !strings.Contains(printed, "plain HTTP") {
		t.Errorf("no code to scan, or nothing is said of plain HTTP:\n%s", printed)
	}
	home := address[:strings.Index(address, "enter")]
	if r := v.get(home); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("without the token: %d", r.StatusCode)
	}
	r := v.get(address)
	if r.StatusCode != 200 || len(r.Cookies()) != 1 {
		t.Fatalf("with the token: %d, %d cookies", r.StatusCode, len(r.Cookies()))
	}
	if r := v.get(home, r.Cookies()...); r.StatusCode != 200 {
		t.Errorf("after the token: %d", r.StatusCode)
	}
	if r := v.get(address); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("the token a second time: %d", r.StatusCode)
	}
	if next := v.find(pattern, 2); next == address {
		t.Error("the next token is the old one")
	}
}

// With --tls the fingerprint that is printed is the certificate's, and the
// cookie is for encrypted requests alone.
func TestServeTLS(t *testing.T) {
	v := startServing(t, serveFlags{lan: true, tls: true})
	address := v.find(`(https://10\.20\.30\.40:\d+/enter/[\w-]{22})\n`, 1)
	printed := v.find(`((?:[0-9A-F]{2}:){31}[0-9A-F]{2})`, 1)
	r := v.get(address)
	sum := sha256.Sum256(r.TLS.PeerCertificates[0].Raw)
	if got := strings.ReplaceAll(printed, ":", ""); got != fmt.Sprintf("%X", sum) {
		t.Errorf("printed %s, the certificate's is %X", got, sum)
	}
	if err := r.TLS.PeerCertificates[0].VerifyHostname("10.20.30.40"); err != nil {
		t.Error(err)
	}
	if k := r.Cookies(); len(k) != 1 || !k[0].Secure {
		t.Errorf("cookies %v", k)
	}
	if strings.Contains(v.out.String(), "plain HTTP") {
		t.Error("encrypted, and called plain")
	}
}

// What cannot be served is said, with what to do.
func TestServeRefusals(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	port := taken.Addr().(*net.TCPAddr).Port
	a := newBench(answering(measure.Answered))
	err = a.serve(context.Background(), serveFlags{port: port}, web.Settings{})
	if err == nil || !strings.Contains(err.Error(), "--port") {
		t.Errorf("a port that is taken: %v", err)
	}
	err = a.serve(context.Background(), serveFlags{lan: true, addrs: oneNetwork("203.0.113.9")}, web.Settings{})
	if err == nil || !strings.Contains(err.Error(), "Wi-Fi") || !strings.Contains(err.Error(), "203.0.113.9") {
		t.Errorf("no local network: %v", err)
	}
	err = a.serve(context.Background(), serveFlags{lan: true, addrs: func() ([]net.Addr, error) { return nil, syscall.EPERM }}, web.Settings{})
	if !errors.Is(err, syscall.EPERM) {
		t.Errorf("a network that may not be looked at: %v", err)
	}
	for _, args := range [][]string{{"--port", "70000"}, {"--jobs", "-1"}, {"here"}} {
		b := newBench(answering(measure.Answered))
		if got := b.run(context.Background(), append([]string{"serve"}, args...)); got != statusUsage {
			t.Errorf("serve %q: status %d, want %d", args, got, statusUsage)
		}
	}
}
