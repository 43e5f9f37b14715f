package watcher

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
	"syscall"
	"time"
)

// maxDepth bounds how far sub-folders are followed.
const maxDepth = 16

// scan reads the whole folder and brings everything known in line with it.
func (w *Watcher) scan(ctx context.Context) {
	began := w.c.Now()
	root, err := os.Stat(w.c.Folder)
	if err == nil && !root.IsDir() {
		err = errors.New("it is a file, not a folder")
	}
	if err == nil {
		var d *os.File
		if d, err = os.Open(w.c.Folder); err == nil { // may it be read at all?
			_, err = d.Readdirnames(1)
			d.Close()
			if errors.Is(err, io.EOF) {
				err = nil
			}
		}
	}
	if err != nil {
		w.folderGone(ctx, err)
		w.nextScan = w.c.Now().Add(min(500*time.Millisecond, w.poll()))
		return
	}
	w.openSource(began)
	w.folderThere(ctx, identityOf(root))

	w.scans++
	s := &sweep{w: w, ctx: ctx, now: began, first: w.scans == 1 && !w.waited}
	s.late = !s.first && !w.roots[identityOf(root)]
	w.roots[identityOf(root)] = true
	s.walk("", root, nil)
	if ctx.Err() != nil {
		return
	}
	w.dropUnseen(s)
	if s.skippedOld > 0 {
		w.trouble(ctx, "", OldSkipped, fmt.Errorf(
			"%s: %d files older than the start of the watch are left alone, as asked", w.c.Folder, s.skippedOld))
	}
	w.tellMode(ctx)

	ended := w.c.Now()
	share := 50
	if w.polling || w.c.PollOnly {
		share = 10
	}
	w.nextScan = ended.Add(max(w.poll(), time.Duration(share)*ended.Sub(began)))
	w.c.Logger.Debug().Int("files", len(w.files)).Int("folders", len(w.dirs)).Dur("took", ended.Sub(began)).Msg("folder read")
}

func (w *Watcher) poll() time.Duration {
	switch {
	case w.c.Poll > 0:
		return w.c.Poll
	case w.polling || w.c.PollOnly || !w.present:
		return time.Second
	}
	return 3 * time.Second
}

// sweep is one reading of the folder, or of a part of it.
type sweep struct {
	w          *Watcher
	ctx        context.Context
	now        time.Time
	first      bool // the scan the watch begins with
	late       bool // a folder that was never seen before has appeared since the start
	part       bool // only below one folder
	skippedOld int
	failed     []string // folders that couldn't be read: nothing below them is known
}

// scanBelow reads a folder that has just appeared.
func (w *Watcher) scanBelow(ctx context.Context, rel string, fi fs.FileInfo) {
	parent := path.Dir(rel)
	if parent == "." {
		parent = ""
	}
	if w.dirs[parent] == nil || hidden(fi) {
		return // its own parent isn't watched: too deep, or gone again
	}
	s := &sweep{w: w, ctx: ctx, now: w.c.Now(), part: true}
	s.walk(rel, fi, nil)
	w.tellMode(ctx)
}

// walk watches one folder, then reads it: whatever appears in between is seen at least once.
func (s *sweep) walk(rel string, fi fs.FileInfo, above []identity) {
	w := s.w
	id := identityOf(fi)
	if s.ctx.Err() != nil || strings.Count(rel, "/") >= maxDepth || inside(id, above) {
		return
	}
	d := w.enter(rel, id)
	d.scan = w.scans
	entries, err := os.ReadDir(w.abs(rel))
	if err != nil {
		s.failed = append(s.failed, rel)
		if !errors.Is(err, fs.ErrNotExist) && !w.unread[rel] {
			w.unread[rel] = true
			w.trouble(s.ctx, rel, Unreadable, tell(err, "%s: the folder can't be read (%s); check its permissions", w.abs(rel), reason(err)))
		}
	} else if w.unread[rel] {
		delete(w.unread, rel)
		w.trouble(s.ctx, rel, Readable, fmt.Errorf("%s: the folder can be read again", w.abs(rel)))
	}
	for _, e := range entries {
		if Ignored(e.Name()) {
			continue
		}
		child := e.Name()
		if rel != "" {
			child = rel + "/" + child
		}
		if !e.IsDir() && !w.c.Want(child) {
			continue
		}
		ci, err := e.Info()
		if err != nil {
			continue // gone since
		}
		if ci.IsDir() {
			if !hidden(ci) {
				s.walk(child, ci, append(above, id))
			}
			continue
		}
		if ci, err = w.follow(child, ci); err == nil {
			s.file(child, ci)
		}
	}
}

func inside(id identity, above []identity) bool {
	for _, a := range above {
		if numbered && a == id {
			return true
		}
	}
	return false
}

func (s *sweep) file(rel string, fi fs.FileInfo) {
	w := s.w
	known := w.files[rel] != nil
	f := w.see(rel, fi, s.now, s.now)
	f.scan = w.scans
	if known || s.part {
		return
	}
	// A folder that turns up late, like a card that is put in, may bring old files along.
	f.existing = s.first || s.late && fi.ModTime().Before(w.started)
	if !f.existing {
		return
	}
	switch {
	case w.c.Existing == SkipExisting:
		f.state = skipped
		delete(w.pending, rel)
		if s.late {
			s.skippedOld++
		}
	case w.c.Unread != nil && w.c.Unread(rel, f.sig.size, f.modTime):
		f.state = done
		delete(w.pending, rel)
	}
}

// enter makes sure that a folder is known and watched.
func (w *Watcher) enter(rel string, id identity) *dir {
	d := w.dirs[rel]
	if d != nil && d.id != id {
		w.leave(rel)
		d = nil
	}
	if d == nil {
		// One that was renamed takes its watch along, under the old name: end that first.
		for old, o := range w.dirs {
			if o.id == id && !w.stands(old, id) {
				w.leave(old)
			}
		}
		d = &dir{id: id}
		w.dirs[rel] = d
	}
	if !d.watched && w.source != nil {
		w.source.Unwatch(w.abs(rel))
		err := w.source.Watch(w.abs(rel))
		d.watched = err == nil
		d.refused = err != nil && !errors.Is(err, fs.ErrNotExist)
		if d.refused {
			w.sourceErr = err
		}
	}
	return d
}

// stands says that the folder of that identity is still where it was.
func (w *Watcher) stands(rel string, id identity) bool {
	fi, err := os.Lstat(w.abs(rel))
	return err == nil && fi.IsDir() && identityOf(fi) == id
}

func (w *Watcher) leave(rel string) {
	if w.source != nil {
		w.source.Unwatch(w.abs(rel))
	}
	delete(w.dirs, rel)
}

// dropUnseen lets go of what a full scan didn't find.
func (w *Watcher) dropUnseen(s *sweep) {
	for rel, d := range w.dirs {
		if d.scan != w.scans && !s.hides(rel) {
			w.leave(rel)
		}
	}
	for rel := range w.unread {
		if w.dirs[rel] == nil {
			delete(w.unread, rel)
			w.trouble(s.ctx, rel, Readable, fmt.Errorf("%s: the folder that couldn't be read isn't there any more", w.abs(rel)))
		}
	}
	for rel, f := range w.files {
		if f.scan != w.scans && f.state != gone && !s.hides(rel) {
			w.gone(f, s.now)
		}
	}
}

// hides says that a name lies below a folder that couldn't be read.
func (s *sweep) hides(rel string) bool {
	for _, d := range s.failed {
		if d == "" || strings.HasPrefix(rel, d+"/") {
			return true
		}
	}
	return false
}

func (w *Watcher) folderGone(ctx context.Context, cause error) {
	if !w.present {
		return
	}
	w.present = false
	for rel := range w.dirs {
		w.leave(rel)
	}
	what := "the folder went away; plug the card or drive in again, or check the network"
	if w.scans == 0 {
		w.waited = true
		what = "the folder isn't there yet; it is waited for"
	}
	if !errors.Is(cause, fs.ErrNotExist) {
		what = fmt.Sprintf("the folder can't be read (%s); check its permissions and its drive", reason(cause))
	}
	w.trouble(ctx, "", FolderGone, tell(cause, "%s: %s", w.c.Folder, what))
}

func (w *Watcher) folderThere(ctx context.Context, id identity) {
	root := w.dirs[""]
	switch {
	case !w.present:
		w.present = true
		w.trouble(ctx, "", FolderBack, fmt.Errorf("%s: the folder is there", w.c.Folder))
	case root != nil && root.id != id:
		for rel := range w.dirs {
			w.leave(rel)
		}
		w.trouble(ctx, "", FolderReplaced, fmt.Errorf(
			"%s: another folder has taken its place, as when a drive is attached there; that one is watched now", w.c.Folder))
	default:
		return
	}
	w.remote = w.share(w.c.Folder)
}

// openSource tries to get events, and tries again half a minute after each failure.
func (w *Watcher) openSource(now time.Time) {
	if w.source != nil || w.c.PollOnly || now.Before(w.trySource) {
		return
	}
	if w.scans == 0 {
		w.remote = w.share(w.c.Folder)
	}
	source, err := w.c.Events(func(e Event) { w.inbox.put(e, w.c.Now()) })
	if err != nil {
		w.sourceErr = err
		w.trySource = now.Add(30 * time.Second)
		return
	}
	w.source = source
}

// refusal is why there are no events, in a few words.
func (w *Watcher) refusal() string {
	if w.sourceErr == nil {
		return "nothing is known of the reason"
	}
	if errors.Is(w.sourceErr, syscall.ENOSPC) {
		return "no more watches are allowed" // what the system says of it is that the disk is full
	}
	return reason(w.sourceErr)
}

// tellMode says when the watch falls back to polling, and when it is over that.
func (w *Watcher) tellMode(ctx context.Context) {
	if w.c.PollOnly {
		return
	}
	blind := 0
	for _, d := range w.dirs {
		if d.refused || w.source == nil {
			blind++
		}
	}
	polling := blind > 0 || w.remote != ""
	if polling == w.polling {
		return
	}
	w.polling = polling
	switch {
	case !polling:
		w.sourceErr = nil
		w.trouble(ctx, "", EventsBack, fmt.Errorf("%s: the system announces changed files again", w.c.Folder))
	case blind > 0:
		w.trouble(ctx, "", Polling, tell(w.sourceErr,
			"%s: the system doesn't announce changed files in %d of %d folders (%s); they are read every %v instead, and frames show a little later%s",
			w.c.Folder, blind, len(w.dirs), w.refusal(), w.poll(), watchAdvice(w.sourceErr)))
	default:
		w.trouble(ctx, "", Polling, fmt.Errorf(
			"%s: is on a network share (%s), which doesn't announce files written by other machines; it is read every %v instead, frames show a little later",
			w.c.Folder, w.remote, w.poll()))
	}
}
