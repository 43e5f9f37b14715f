//go:build linux || darwin

package shoot

import "golang.org/x/sys/unix"

// freeBytes is how much the owner of this process may still write on a folder's file system (statfs(2)).
func freeBytes(folder string) (uint64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(folder, &st); err != nil {
		return 0, err
	}
	return uint64(st.Bavail) * uint64(st.Bsize), nil
}
