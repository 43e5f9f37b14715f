//go:build !linux

package watcher

// systemEvents is fsnotify alone: no other system tells who closed a file.
func systemEvents(report func(Event)) (Source, error) {
	n, err := newNotices(report)
	if err != nil {
		return nil, err
	}
	return n, nil
}
