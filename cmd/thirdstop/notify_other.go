//go:build !linux

package main

import "time"

// notify and watchdogEvery are for systemd's services, which there are only on Linux.
func notify(string) {}

func watchdogEvery() time.Duration { return 0 }
