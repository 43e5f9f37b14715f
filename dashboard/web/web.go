// Package web holds the pages of the dashboard, embedded as they are.
//
// It knows files. It must never know what is in a state, who may see it or how
// a request is answered: dashboard serves these files, and the pages speak to it
// through the documented API alone. There is no build step: the browser
// loads the modules as they lie here. Read index.html first, then main.js.
package web

import "embed"

// Files holds index.html and everything it loads. In index.html the marker
// %ASSETS% stands for the address under which the other files are served.
//
//go:embed index.html *.css *.js said-*.txt vendor icon.svg icon-192.png icon-512.png app.webmanifest
var Files embed.FS
