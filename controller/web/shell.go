package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"net/http"
	"strings"
)

// shellFiles are what a page is made of beside its text.
var shellFiles = []string{"style.css", "live.js", "passkey.js", "icon.svg", "icon-192.png", "icon-512.png"}

// manifest lets a phone put the page among its programs.
type manifest struct {
	Name       string         `json:"name"`
	ShortName  string         `json:"short_name"`
	Start      string         `json:"start_url"`
	Display    string         `json:"display"`
	Background string         `json:"background_color"`
	Theme      string         `json:"theme_color"`
	Icons      []manifestIcon `json:"icons"`
}

type manifestIcon struct {
	Source string `json:"src"`
	Sizes  string `json:"sizes"`
	Type   string `json:"type"`
}

// shellRoutes serve the shell, the manifest, the worker and the page of no connection. They
// need no sign-in and tell nothing of the farm.
func (s *Server) shellRoutes(mux *http.ServeMux) {
	for _, name := range shellFiles {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Cache-Control", "max-age=3600")
			http.ServeFileFS(w, r, files, "page/"+name)
		})
	}
	mux.HandleFunc("GET /offline", func(w http.ResponseWriter, r *http.Request) { s.render(w, r, "offline", http.StatusOK, nil) })
	mux.HandleFunc("GET /manifest.webmanifest", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/manifest+json")
		_ = json.NewEncoder(w).Encode(manifest{Name: "leat", ShortName: "leat", Start: "/", Display: "standalone", Background: "#fbfaf6", Theme: "#1f4e5f", Icons: []manifestIcon{
			{"/icon.svg", "any", "image/svg+xml"}, {"/icon-192.png", "192x192", "image/png"}, {"/icon-512.png", "512x512", "image/png"}}}) // a reader that went away is no fault of ours
	})
	worker := workerScript()
	mux.HandleFunc("GET /worker.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		_, _ = w.Write(worker)
	})
}

// workerScript is the worker with the version of the shell in it: another shell is another
// worker, and the old one's store is thrown away.
func workerScript() []byte {
	sum := sha256.New()
	for _, name := range append([]string{"offline.html", "worker.js"}, shellFiles...) {
		body, _ := fs.ReadFile(files, "page/"+name) // embedded: it is there
		_, _ = sum.Write(body)
	}
	script, _ := fs.ReadFile(files, "page/worker.js")
	return []byte(strings.Replace(string(script), "{{.Version}}", hex.EncodeToString(sum.Sum(nil)[:6]), 1))
}
