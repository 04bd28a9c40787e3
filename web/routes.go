package web

import (
	"embed"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
)

//go:embed assets openapi.yaml
var embedded embed.FS

// route is one operation of the interface.
type route struct {
	pattern string // as http.ServeMux wants it, without apiRoot
	answer  func(http.ResponseWriter, *http.Request) error
}

const apiRoot = "/api/v1"

// routes are all operations of the interface; openapi.yaml describes the same.
func (s *Server) routes() []route {
	return []route{
		{"POST /photos", s.receive},
		{"GET /photos/{id}", s.showPhoto},
		{"DELETE /photos/{id}", s.dropPhoto},
		{"PUT /photos/{id}/facts", s.mend},
		{"POST /photos/{id}/length", s.length},
		{"POST /lengths", s.joined},
		{"GET /photos/{id}/picture", s.picture},
		{"GET /photos/{id}/overlay", s.overlay},

		{"GET /parts", s.listParts},
		{"POST /parts", s.addPart},
		{"POST /parts/from-photos", s.keep},
		{"GET /parts/{id}", s.showPart},
		{"PATCH /parts/{id}", s.describePart},
		{"POST /parts/{id}/settle", s.settlePart},
		{"GET /parts/{id}/pictures/{sha}", s.partPicture},

		{"GET /labels", s.labels},
		{"POST /tags", s.tags},
		{"GET /sheet/{kind}", s.sheet},

		{"GET /looms", s.listLooms},
		{"PUT /looms/{name}", s.putLoom},
		{"DELETE /looms/{name}", s.removeLoom},
		{"GET /looms/{name}/reeds", s.loomReeds},
		{"GET /looms/{name}/check/{id}", s.loomCheck},

		{"GET /orders", s.listOrders},
		{"POST /orders", s.order},
		{"GET /orders/{uid}", s.showOrder},
		{"PATCH /orders/{uid}", s.orderState},

		{"GET /openapi.yaml", s.openapi},
	}
}

// Handler is the page and its interface with all guards before it.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		method, path, _ := strings.Cut(r.pattern, " ")
		mux.Handle(method+" "+apiRoot+path, s.handle(r.answer))
	}
	mux.Handle("GET "+enteredPath, s.handle(s.entered))
	mux.Handle("GET /", s.handle(s.asset))
	return s.guard(mux)
}

func (s *Server) openapi(w http.ResponseWriter, _ *http.Request) error {
	b, err := embedded.ReadFile("openapi.yaml")
	if err != nil {
		return err
	}
	return sendBytes(w, "application/yaml", "", b)
}

// entered goes on to the page after a token was exchanged.
func (s *Server) entered(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Refresh", "0; url=/")
	return sendBytes(w, "text/plain; charset=utf-8", "", []byte("Opening dentcount ...\n"))
}

// asset serves the page's own files, from inside the program.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) error {
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "index.html"
	}
	b, err := fs.ReadFile(embedded, path.Join("assets", name))
	if !fs.ValidPath(name) || err != nil {
		return bad(http.StatusNotFound, "there is no such page", "open /")
	}
	kind := mime.TypeByExtension(path.Ext(name))
	if own, ok := assetTypes[path.Ext(name)]; ok { // whatever this machine's tables say
		kind = own
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-cache") // the next dentcount has others
	_, err = w.Write(b)
	return err
}

var assetTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".svg": "image/svg+xml", ".webmanifest": "application/manifest+json", ".png": "image/png",
}
