package dashboard

import (
	"bytes"
	"compress/gzip"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
)

// packable are the assets worth packing; pictures and fonts are packed as they are.
var packable = map[string]bool{".js": true, ".mjs": true, ".css": true, ".json": true, ".svg": true, ".webmanifest": true, ".txt": true, ".html": true}

// packed is a file as gzip (RFC 1952), nil where that gains nothing.
func packed(name string, text []byte) []byte {
	if !packable[path.Ext(name)] || len(text) < 200 {
		return nil
	}
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil
	}
	if _, err := w.Write(text); err != nil || w.Close() != nil || b.Len() >= len(text) {
		return nil
	}
	return b.Bytes()
}

// takesGzip tells whether a request accepts gzip (RFC 9110, section 12.5.3): named without "q=0".
func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(strings.Join(r.Header.Values("Accept-Encoding"), ","), ",") {
		coding, params, err := mime.ParseMediaType("x/" + strings.TrimSpace(part))
		if err != nil || coding != "x/gzip" {
			continue
		}
		q, err := strconv.ParseFloat(params["q"], 64)
		return params["q"] == "" || err == nil && q > 0
	}
	return false
}

// hand writes a packed file, if there is one and it is accepted; else the caller writes the plain one.
func hand(w http.ResponseWriter, r *http.Request, small []byte) bool {
	if small == nil {
		return false
	}
	w.Header().Add("Vary", "Accept-Encoding")
	if !takesGzip(r) {
		return false
	}
	w.Header().Set("Content-Encoding", "gzip")
	w.Header().Set("Content-Length", strconv.Itoa(len(small)))
	w.WriteHeader(http.StatusOK)
	if r.Method != http.MethodHead {
		_, _ = w.Write(small)
	}
	return true
}
