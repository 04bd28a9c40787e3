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

// Handler is the page and its interface with all guards before it.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	on := func(pattern string, f func(http.ResponseWriter, *http.Request) error) {
		mux.Handle(pattern, s.handle(f))
	}

	on("POST /api/v1/photos", s.receive)
	on("GET /api/v1/photos/{id}", s.showPhoto)
	on("DELETE /api/v1/photos/{id}", s.dropPhoto)
	on("PUT /api/v1/photos/{id}/facts", s.mend)
	on("GET /api/v1/photos/{id}/picture", s.picture)
	on("GET /api/v1/photos/{id}/overlay", s.overlay)
	on("POST /api/v1/parts/from-photos", s.keep)

	on("GET /api/v1/parts", s.listParts)
	on("POST /api/v1/parts", s.addPart)
	on("GET /api/v1/parts/{id}", s.showPart)
	on("PATCH /api/v1/parts/{id}", s.describePart)
	on("POST /api/v1/parts/{id}/settle", s.settlePart)
	on("GET /api/v1/parts/{id}/pictures/{sha}", s.partPicture)
	on("GET /api/v1/labels", s.labels)
	on("POST /api/v1/tags", s.tags)
	on("GET /api/v1/sheet/{kind}", s.sheet)

	on("GET /api/v1/looms", s.listLooms)
	on("PUT /api/v1/looms/{name}", s.putLoom)
	on("DELETE /api/v1/looms/{name}", s.removeLoom)
	on("GET /api/v1/looms/{name}/reeds", s.loomReeds)
	on("GET /api/v1/looms/{name}/check/{id}", s.loomCheck)

	on("GET /api/v1/openapi.yaml", func(w http.ResponseWriter, r *http.Request) error {
		b, err := embedded.ReadFile("openapi.yaml")
		if err != nil {
			return err
		}
		return sendBytes(w, "application/yaml", "", b)
	})
	on("GET "+enteredPath, s.entered)
	on("GET /", s.asset)
	return s.guard(mux)
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
