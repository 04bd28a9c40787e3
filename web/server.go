package web

import (
	"context"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"runtime"
	"time"

	"golang.org/x/net/netutil"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/shelf"
)

// Settings says how a server works. The zero value of each field but Shelf is
// a usable default.
type Settings struct {
	// Shelf is where parts and looms are kept. Needed; the caller closes it
	// after the server.
	Shelf *shelf.Shelf
	// Jobs is how many photos are measured at once; 0: one a core.
	Jobs int
	// Limits bound a photo; the zero value means those of package photo.
	Limits photo.Limits
	// MaxWaitingBytes bounds the files that are being received or wait; 0: 256 MiB.
	MaxWaitingBytes int64
	// MaxHeldBytes bounds the measured photos in memory; 0: 192 MiB. The newest
	// one is always held.
	MaxHeldBytes int64
	// HoldFor is how long a measured photo is held after it was last asked for;
	// 0: half an hour.
	HoldFor time.Duration
	// UploadWithin is how long the sending of one photo may take; 0: 3 minutes.
	UploadWithin time.Duration
	// Hosts are the names and addresses, without a port, under which the server
	// may be asked; nil: this machine alone. Others are refused, so that no
	// foreign name can be pointed here.
	Hosts []string
	// Gate, where not nil, lets only those in who have shown a token.
	Gate *Gate
	// Now gives the time; nil means time.Now.
	Now func() time.Time
	// Log gets flaws of ours; nil: nobody.
	Log io.Writer
}

// Server is the page and its interface.
type Server struct {
	set    Settings
	shelf  *shelf.Shelf
	queue  *queue
	photos *photos
	log    *log.Logger
	stop   context.CancelFunc
}

// New makes a server; Close ends what it started.
func New(set Settings) (*Server, error) {
	if set.Shelf == nil {
		return nil, errors.New("web: a server needs a shelf")
	}
	if set.Jobs < 1 {
		set.Jobs = runtime.GOMAXPROCS(0)
	}
	if set.Limits.MaxBytes == 0 {
		set.Limits.MaxBytes = photo.DefaultMaxBytes
	}
	setDefault(&set.MaxWaitingBytes, 256<<20)
	setDefault(&set.MaxHeldBytes, 192<<20)
	setDefault(&set.HoldFor, 30*time.Minute)
	setDefault(&set.UploadWithin, 3*time.Minute)
	if set.Hosts == nil {
		set.Hosts = []string{"localhost", "127.0.0.1", "::1"}
	}
	if set.Now == nil {
		set.Now = time.Now
	}
	if set.Log == nil {
		set.Log = io.Discard
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Server{
		set: set, shelf: set.Shelf, stop: stop,
		queue:  newQueue(ctx, set.Jobs),
		photos: newPhotos(set.MaxWaitingBytes, set.MaxHeldBytes, set.HoldFor, set.Now),
		log:    log.New(set.Log, "dentcount: ", 0),
	}
	go s.photos.tidy(ctx)
	return s, nil
}

func setDefault[T comparable](v *T, to T) {
	var zero T
	if *v == zero {
		*v = to
	}
}

// Close stops what is being measured and forgets the photos. The shelf stays open.
func (s *Server) Close() {
	s.stop()
	s.queue.wait()
	s.photos.clear()
}

// Version of the measuring, for what is kept.
const version = measure.Version

// maxConns is how many connections are open at once; a phone keeps up to six.
const maxConns = 128

// Serve answers on l until ctx ends, and then lets what is under way finish for
// a moment.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	srv := &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       30 * time.Second, // an upload gets its own, see receive
		WriteTimeout:      2 * time.Minute,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          log.New(io.Discard, "", 0), // broken connections of strangers
		BaseContext:       func(net.Listener) context.Context { return ctx },
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(netutil.LimitListener(l, maxConns)) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	brief, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	if err := srv.Shutdown(brief); err != nil {
		srv.Close()
	}
	<-done
	return nil
}
