package shoot

import "golang.org/x/sys/windows"

// freeBytes is how much this user may still write on a folder's volume.
func freeBytes(folder string) (uint64, error) {
	name, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
