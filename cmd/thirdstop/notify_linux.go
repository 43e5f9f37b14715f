package main

import (
	"net"
	"os"
	"strconv"
	"time"
)

// notify tells the service manager how the daemon stands (sd_notify(3)): one
// datagram to the socket it named. Without a service manager it does nothing.
func notify(state string) {
	name := os.Getenv("NOTIFY_SOCKET")
	if name == "" {
		return
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return
	}
	defer c.Close()
	c.Write([]byte(state))
}

// watchdogEvery is how often the service manager wants a sign of life: half of
// what it allows, as sd_watchdog_enabled(3) recommends. Zero is never.
func watchdogEvery() time.Duration {
	us, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if pid := os.Getenv("WATCHDOG_PID"); err != nil || us <= 0 || pid != "" && pid != strconv.Itoa(os.Getpid()) {
		return 0
	}
	return time.Duration(us) * time.Microsecond / 2
}
