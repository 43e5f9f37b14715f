package watcher

import (
	"path"
	"strings"
)

// cameraFiles are the endings of files a camera or its software writes. HEIC and HIF can't
// be measured, but are delivered so that a person can be told why.
var cameraFiles = map[string]bool{
	".jpg": true, ".jpeg": true, ".tif": true, ".tiff": true, ".heic": true, ".heif": true, ".hif": true,
	".cr2": true, ".cr3": true, ".nef": true, ".arw": true, ".dng": true, ".raf": true,
	".orf": true, ".rw2": true, ".pef": true,
}

// CameraFile says whether a name ends like a camera's picture, in either case.
func CameraFile(rel string) bool {
	return cameraFiles[strings.ToLower(path.Ext(rel))]
}

// unfinishedEndings are names that copying and uploading programs use until they are done.
var unfinishedEndings = []string{
	".part", ".partial", ".tmp", ".temp", ".filepart", ".crdownload", ".download", ".upload", ".uploading", ".!ut", ".swp",
}

// notOurs are folders in which file systems and storage boxes keep things of their own,
// among them pictures that nobody took today.
var notOurs = map[string]bool{
	"$recycle.bin": true, "system volume information": true, "lost+found": true,
	"@eadir": true, "#recycle": true, "#snapshot": true, "@recycle": true,
}

// Ignored says whether one path element is hidden, a copy in progress, or a
// folder that belongs to the file system. Nothing below an ignored folder is looked at.
func Ignored(name string) bool {
	if name == "" || name[0] == '.' || name[0] == '~' || strings.HasSuffix(name, "~") {
		return true
	}
	lower := strings.ToLower(name)
	if notOurs[lower] {
		return true
	}
	for _, e := range unfinishedEndings {
		if strings.HasSuffix(lower, e) {
			return true
		}
	}
	return false
}

// ignoredPath applies Ignored to every element of a relative path.
func ignoredPath(rel string) bool {
	for el := range strings.SplitSeq(rel, "/") {
		if Ignored(el) {
			return true
		}
	}
	return false
}

// nameLess orders names as people count: 9 before 10, whatever the zeros in front. Names that
// count the same fall back to byte order, so that the order is total.
func nameLess(a, b string) bool {
	i, j := 0, 0
	for i < len(a) && j < len(b) {
		if isDigit(a[i]) && isDigit(b[j]) {
			na, nextI := digits(a, i)
			nb, nextJ := digits(b, j)
			if len(na) != len(nb) {
				return len(na) < len(nb)
			}
			if na != nb {
				return na < nb
			}
			i, j = nextI, nextJ
			continue
		}
		if a[i] != b[j] {
			return a[i] < b[j]
		}
		i, j = i+1, j+1
	}
	if len(a)-i != len(b)-j {
		return len(a)-i < len(b)-j
	}
	return a < b
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// digits returns the number that starts at s[i], without leading zeros, and where it ends.
func digits(s string, i int) (string, int) {
	end := i
	for end < len(s) && isDigit(s[end]) {
		end++
	}
	for i < end-1 && s[i] == '0' {
		i++
	}
	return s[i:end], end
}
