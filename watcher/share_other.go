//go:build !linux && !windows && !darwin

package watcher

// shareKind isn't known here: use Config.PollOnly for a network share.
func shareKind(string) string { return "" }

func watchAdvice(error) string { return "" }
