package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"

	"github.com/skip2/go-qrcode"
	"github.com/spf13/cobra"

	"dentcount/web"
)

// serveFlags say to whom the page is open.
type serveFlags struct {
	port, jobs int
	lan, tls   bool
	addrs      func() ([]net.Addr, error) // net.InterfaceAddrs; tests have networks of their own
}

// defaultPort is where the page is, so that it can be bookmarked.
const defaultPort = 8417

func newServeCmd(a *app) *cobra.Command {
	f := serveFlags{addrs: net.InterfaceAddrs}
	var sf shelfFlag
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Open the page: photo, answer, shelf, looms and labels in a browser",
		Long: `serve opens a page that does what the commands do: take or pick a photo, see the
answer and mend it by hand, keep parts on the shelf, print labels. It needs no other
network than the one between the phone and this machine.

Without --lan only this machine can reach it. With --lan a phone on the same network
can, by the address or the code that is printed; each code works once, and the next
one is shown when it was used. Plain HTTP can be read by others on that network; with
--tls it cannot, but a browser will warn of a certificate that this program made
itself: compare the fingerprint. The guide before the shot needs --tls on a phone.`,
		Example: `  dentcount serve
  dentcount serve --lan
  dentcount serve --lan --tls --port 9000`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case f.port < 0 || f.port > 65535:
				return usagef("--port %d: a port is a number up to 65535", f.port)
			case f.jobs < 0 || f.jobs > 256:
				return usagef("--jobs %d: say how many photos to measure at once, or 0 for one a core", f.jobs)
			}
			s, err := sf.open(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			return a.serve(cmd.Context(), f, web.Settings{Shelf: s, Jobs: f.jobs})
		},
	}
	sf.addTo(cmd)
	fl := cmd.Flags()
	fl.IntVar(&f.port, "port", defaultPort, "the `PORT` to listen on; 0 takes a free one")
	fl.BoolVar(&f.lan, "lan", false, "let phones on the local network in, by a code")
	fl.BoolVar(&f.tls, "tls", false, "encrypt, with a certificate made for this run")
	fl.IntVar(&f.jobs, "jobs", 0, fmt.Sprintf("measure `N` photos at once (default: one a core, here %d)", runtime.GOMAXPROCS(0)))
	return cmd
}

// serve listens until ctx ends. The addresses it prints are its answer.
func (a *app) serve(ctx context.Context, f serveFlags, set web.Settings) error {
	ips := []net.IP{net.IPv4(127, 0, 0, 1)}
	host := "127.0.0.1"
	if f.lan {
		found, err := lanAddresses(f.addrs)
		if err != nil {
			return err
		}
		ips, host = append(ips, found...), ""
	}
	l, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(f.port)))
	if err != nil {
		if errors.Is(err, syscall.EADDRINUSE) {
			return fmt.Errorf("port %d is taken, perhaps by another dentcount serve; end that one, or choose another with --port", f.port)
		}
		return fmt.Errorf("cannot listen on port %d (%w); choose another with --port", f.port, err)
	}
	defer l.Close()
	scheme, fingerprint := "http", ""
	if f.tls {
		cert, sum, err := web.SelfSigned(ips)
		if err != nil {
			return err
		}
		scheme, fingerprint = "https", sum
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12})
	}
	port := l.Addr().(*net.TCPAddr).Port
	address := func(ip net.IP, path string) string {
		return scheme + "://" + net.JoinHostPort(ip.String(), strconv.Itoa(port)) + path
	}
	set.Hosts = []string{"localhost", "::1"}
	for _, ip := range ips {
		set.Hosts = append(set.Hosts, ip.String())
	}
	set.Log = a.stderr
	var once sync.Mutex // one code is printed at a time
	tell := func(token string) {
		once.Lock()
		defer once.Unlock()
		a.tellAddresses(ips[1:], func(ip net.IP) string { return address(ip, web.EnterPath(token)) })
	}
	if f.lan {
		gate, token := web.NewGate(f.tls, func(next string) {
			a.note("a device was let in; the next one takes this code")
			tell(next)
		})
		set.Gate = gate
		tell(token)
		if f.tls {
			a.answerf("The browser will warn of the certificate: this program made it. Its SHA-256 fingerprint:\n  %s\n", fingerprint)
		} else {
			a.answerf("This is plain HTTP on your own network: others on it could read along. --tls encrypts.\n")
		}
	} else {
		a.answerf("%s\n", address(ips[0], "/"))
		if f.tls {
			a.answerf("SHA-256 fingerprint of the certificate: %s\n", fingerprint)
		}
	}
	a.note("Ctrl-C ends it")
	if a.writeErr != nil {
		return a.writeErr
	}
	srv, err := web.New(set)
	if err != nil {
		return err
	}
	defer srv.Close()
	return srv.Serve(ctx, l)
}

// tellAddresses prints the addresses for a phone, the first as a code to scan.
func (a *app) tellAddresses(ips []net.IP, address func(net.IP) string) {
	for i, ip := range ips {
		text := address(ip)
		if i == 0 {
			if q, err := qrcode.New(text, qrcode.Medium); err == nil {
				a.answerf("%s", q.ToSmallString(false))
			}
		}
		a.answerf("%s\n", text)
	}
}

// lanAddresses are this machine's addresses on local networks.
func lanAddresses(ask func() ([]net.Addr, error)) ([]net.IP, error) {
	addrs, err := ask()
	if err != nil {
		return nil, fmt.Errorf("the network cannot be looked at: %w", err)
	}
	var out []net.IP
	var all []string
	for _, addr := range addrs {
		n, ok := addr.(*net.IPNet)
		if !ok {
			continue
		}
		all = append(all, n.IP.String())
		if n.IP.To4() != nil && n.IP.IsPrivate() {
			out = append(out, n.IP)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("this machine is on no local network (it has %s); join the phone's Wi-Fi first, or leave --lan out", strings.Join(all, ", "))
	}
	return out, nil
}
