package trail

import (
	"io"
	"os"
	"path/filepath"
)

// Disk is what a trail needs of a file system. Its zero in [Options] is [OSDisk]; tests put one there that fails.
type Disk interface {
	MkdirAll(dir string) error
	// Create makes a new empty file to append to; it fails if there is one of that name.
	Create(name string) (File, error)
	// Append opens a file that is there, to append to.
	Append(name string) (File, error)
	// Open opens a file that is there, to read.
	Open(name string) (ReadFile, error)
	// Truncate cuts a file and syncs it.
	Truncate(name string, size int64) error
	// Rename puts a file in the place of another.
	Rename(from, to string) error
	Remove(name string) error
	// SyncDir makes what was created, renamed and removed in a folder durable, where the system can.
	SyncDir(dir string) error
}

// File is a file that is appended to.
type File interface {
	io.WriteCloser
	Sync() error
}

// ReadFile is a file that is read. Size is the size at the moment.
type ReadFile interface {
	io.ReaderAt
	io.Closer
	Size() (int64, error)
}

// OSDisk is the file system of the machine. Files and folders it makes are readable by their owner alone.
type OSDisk struct{}

func (OSDisk) MkdirAll(dir string) error { return os.MkdirAll(dir, 0o700) }

func (OSDisk) Create(name string) (File, error) {
	return asFile(os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY|os.O_APPEND, 0o600))
}

func (OSDisk) Append(name string) (File, error) {
	return asFile(os.OpenFile(name, os.O_WRONLY|os.O_APPEND, 0))
}

func (OSDisk) Open(name string) (ReadFile, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	return osReadFile{f}, nil
}

func (OSDisk) Truncate(name string, size int64) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := f.Truncate(size); err != nil {
		f.Close()
		return err
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func (OSDisk) Rename(from, to string) error { return os.Rename(from, to) }
func (OSDisk) Remove(name string) error     { return os.Remove(name) }
func (OSDisk) SyncDir(dir string) error     { return syncDir(dir) }

// asFile keeps a nil *os.File from becoming a File that is not nil.
func asFile(f *os.File, err error) (File, error) {
	if err != nil {
		return nil, err
	}
	return f, nil
}

type osReadFile struct{ *os.File }

func (f osReadFile) Size() (int64, error) {
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	return st.Size(), nil
}

// WriteFile puts a file of that content in the place of name, so that after a crash there is the old one or the
// new one, whole. What is left of a file that could not be written is removed.
func WriteFile(d Disk, name string, content []byte) error {
	tmp := name + newSuffix
	if err := remove(d, tmp); err != nil {
		return err
	}
	err := createWith(d, tmp, content)
	if err == nil {
		err = d.Rename(tmp, name)
	}
	if err != nil {
		remove(d, tmp)
		return err
	}
	return d.SyncDir(filepath.Dir(name))
}
