package web

import (
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dentcount/shelf"
)

// testServer is a server on the loopback with a shelf of its own.
type testServer struct {
	*Server
	t     testing.TB
	shelf *shelf.Shelf
	url   string
	log   *strings.Builder
}

func startServer(t testing.TB, change func(*Settings)) *testServer {
	t.Helper()
	s, err := shelf.Open(context.Background(), filepath.Join(t.TempDir(), "shelf.db"), shelf.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	set := Settings{Shelf: s, Log: &log}
	if change != nil {
		change(&set)
	}
	srv, err := New(set)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- srv.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("the server ended with %v", err)
		}
		srv.Close()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if log.Len() > 0 && !t.Failed() {
			t.Errorf("the server tells of flaws of its own:\n%s", log.String())
		}
	})
	return &testServer{Server: srv, t: t, shelf: s, url: "http://" + l.Addr().String(), log: &log}
}

func photoFile(t *testing.T, name string) string {
	t.Helper()
	p, err := filepath.Abs("../testdata/images/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(p); err != nil {
		t.Fatal(err)
	}
	return p
}

// fresh is a client without kept connections.
func fresh() *http.Client { return &http.Client{Transport: &http.Transport{DisableKeepAlives: true}} }
