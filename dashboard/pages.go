package dashboard

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

// pages are the embedded files, read once. All assets lie under one folder that
// is named after the hash of them all, so they can be kept for ever and import one another by
// relative paths, which a content policy without inline import maps asks for.
type pages struct {
	index  []byte
	etag   string            // of index
	prefix string            // "/assets/HASH/"
	files  map[string][]byte // path below prefix
	small  map[string][]byte // the same, packed, where that gains something; "" is the index
}

// assetTypes are the files that are handed out. Others in the folder (Go, notes) are not.
var assetTypes = map[string]string{
	".js":          "text/javascript; charset=utf-8",
	".mjs":         "text/javascript; charset=utf-8",
	".css":         "text/css; charset=utf-8",
	".json":        "application/json; charset=utf-8",
	".svg":         "image/svg+xml",
	".png":         "image/png",
	".ico":         "image/x-icon",
	".webmanifest": "application/manifest+json",
	".woff2":       "font/woff2",
	".txt":         "text/plain; charset=utf-8",
}

// assetsMark stands in index.html for the assets' folder, with or without a slash after it.
const assetsMark = "%ASSETS%"

func readPages(src fs.FS) (*pages, error) {
	p := &pages{files: map[string][]byte{}, small: map[string][]byte{}}
	sum := sha256.New()
	err := fs.WalkDir(src, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || assetTypes[path.Ext(name)] == "" {
			return err
		}
		text, err := fs.ReadFile(src, name)
		if err != nil {
			return err
		}
		p.files[name] = text
		p.small[name] = packed(name, text)
		fmt.Fprintf(sum, "%q %d\n", name, len(text)) // WalkDir goes in lexical order
		sum.Write(text)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("the embedded pages can't be read: %w", err)
	}
	index, err := fs.ReadFile(src, "index.html")
	if err != nil {
		return nil, fmt.Errorf("the embedded pages lack index.html: %w", err)
	}
	if !bytes.Contains(index, []byte(assetsMark)) {
		return nil, errors.New("index.html refers to nothing under " + assetsMark)
	}
	p.prefix = "/assets/" + hex.EncodeToString(sum.Sum(nil))[:16] + "/"
	index = bytes.ReplaceAll(index, []byte(assetsMark+"/"), []byte(assetsMark))
	p.index = bytes.ReplaceAll(index, []byte(assetsMark), []byte(p.prefix))
	isum := sha256.Sum256(p.index)
	p.small[""] = packed("index.html", p.index)
	p.etag = `"` + hex.EncodeToString(isum[:8]) + `"`
	return p, nil
}

// serveIndex is GET /. It is asked for anew each time, so that a new program
// brings its new assets.
func (p *pages) serveIndex(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("ETag", p.etag)
	if r.Header.Get("If-None-Match") != p.etag && hand(w, r, p.small[""]) {
		return
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(p.index))
}

// serveAsset is GET /assets/HASH/path.
func (p *pages) serveAsset(w http.ResponseWriter, r *http.Request) {
	name, ok := strings.CutPrefix(r.URL.Path, p.prefix)
	text, found := p.files[name]
	if !ok || !found {
		w.Header().Set("Cache-Control", "no-store")
		http.Error(w, "there is no such file; load the page again", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", assetTypes[path.Ext(name)])
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	if hand(w, r, p.small[name]) {
		return
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(text))
}
