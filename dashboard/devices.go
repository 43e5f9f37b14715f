package dashboard

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"thirdstop/assess/legible"
)

// Device is a browser or script that was paired.
type Device struct {
	ID     string    `json:"id"` // random; stands in the trail
	Name   string    `json:"name"`
	Role   Role      `json:"role"`
	Paired time.Time `json:"paired"` // UTC
}

// local is the device that an open server takes every caller for.
var local = Device{ID: "local", Name: "this machine", Role: Shoots}

// MostDevices is how many devices can be paired at a time.
const MostDevices = 64

// ErrTooManyDevices is returned by [Devices.Add] when the list is full.
var ErrTooManyDevices = fmt.Errorf("%d devices are paired, which is the most; revoke one that is no longer used", MostDevices)

// Devices is the list of paired devices. Of a token only the SHA-256 is kept: a token
// is 256 random bits, so its plain hash can't be searched.
//
// The file may be changed by another process (revoking from a terminal while
// the daemon runs): every look-up first sees whether it did. A file that
// can't be read lets nobody in.
type Devices struct {
	path string // "" keeps the list in memory

	mu    sync.Mutex
	list  []entry
	stamp os.FileInfo // of the file that list was read from
}

type entry struct {
	Device
	Sum string `json:"token_sha256"` // hex
}

// shown is a device with its name as it can be shown. What is added is checked; the file may have been edited.
func (e entry) shown() Device {
	d := e.Device
	d.Name = legible.Line(d.Name)
	return d
}

type devicesFile struct {
	Version int     `json:"version"`
	Devices []entry `json:"devices"`
}

// OpenDevices reads the list from a file, which need not exist yet; its folder must. An empty path
// keeps the list in memory alone.
func OpenDevices(path string) (*Devices, error) {
	d := &Devices{path: path}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.refresh(); err != nil {
		return nil, err
	}
	return d, nil
}

// refresh reads the file again if it is not the one that was read last. Called with mu held.
func (d *Devices) refresh() error {
	if d.path == "" {
		return nil
	}
	info, err := os.Stat(d.path)
	if errors.Is(err, fs.ErrNotExist) {
		d.list, d.stamp = nil, nil
		return nil
	}
	if err != nil {
		return fmt.Errorf("the file of paired devices can't be read: %w; check the data folder", err)
	}
	if d.stamp != nil && os.SameFile(info, d.stamp) && info.ModTime().Equal(d.stamp.ModTime()) && info.Size() == d.stamp.Size() {
		return nil
	}
	text, err := os.ReadFile(d.path)
	if err != nil {
		return fmt.Errorf("the file of paired devices can't be read: %w; check who may read it", err)
	}
	list, err := parseDevices(text)
	if err != nil {
		return fmt.Errorf("%s: %w; restore it, or delete it and pair every device again", d.path, err)
	}
	d.list, d.stamp = list, info
	return nil
}

func parseDevices(text []byte) ([]entry, error) {
	var f devicesFile
	if err := json.Unmarshal(text, &f, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("not a list of devices: %w", err)
	}
	if f.Version != 1 {
		return nil, fmt.Errorf("written in version %d of the list of devices, and this program knows version 1", f.Version)
	}
	seen := map[string]bool{}
	for i, e := range f.Devices {
		if _, err := ParseRole(string(e.Role)); err != nil {
			return nil, fmt.Errorf("device %d: %w", i+1, err)
		}
		if sum, err := hex.DecodeString(e.Sum); err != nil || len(sum) != sha256.Size {
			return nil, fmt.Errorf("device %d: token_sha256 is not the hex of a SHA-256", i+1)
		}
		if e.ID == "" || e.ID == local.ID || seen[e.ID] {
			return nil, fmt.Errorf("device %d: its id is missing, reserved or used twice", i+1)
		}
		seen[e.ID] = true
	}
	return f.Devices, nil
}

// save writes the list as one piece: a crash leaves the old file or the new one. Called with mu held.
func (d *Devices) save(list []entry) error {
	if d.path == "" {
		d.list = list
		return nil
	}
	text, err := json.Marshal(devicesFile{Version: 1, Devices: list}, jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("the list of devices can't be written as JSON: %w", err)
	}
	dir := filepath.Dir(d.path)
	f, err := os.CreateTemp(dir, ".devices-*") // made with mode 0600
	if err != nil {
		return fmt.Errorf("the list of devices can't be saved: %w", err)
	}
	defer os.Remove(f.Name()) // fails once it was renamed
	_, err = f.Write(append(text, '\n'))
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), d.path)
	}
	if err != nil {
		return fmt.Errorf("the list of devices can't be saved: %w", err)
	}
	if folder, err := os.Open(dir); err == nil { // Windows can't sync a folder, and needn't
		_ = folder.Sync()
		folder.Close()
	}
	d.list = list
	d.stamp, _ = os.Stat(d.path)
	return nil
}

// List gives the devices in the order in which they were paired.
func (d *Devices) List() ([]Device, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.refresh(); err != nil {
		return nil, err
	}
	out := make([]Device, len(d.list))
	for i, e := range d.list {
		out[i] = e.shown()
	}
	return out, nil
}

// Add pairs a device and returns its token, which is kept nowhere.
func (d *Devices) Add(name string, role Role, at time.Time) (Device, string, error) {
	if _, err := ParseRole(string(role)); err != nil {
		return Device{}, "", err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.refresh(); err != nil {
		return Device{}, "", err
	}
	if len(d.list) >= MostDevices {
		return Device{}, "", ErrTooManyDevices
	}
	var token [32]byte
	var id [6]byte
	rand.Read(token[:]) // never fails: the program stops where there is no randomness
	rand.Read(id[:])
	text := base64.RawURLEncoding.EncodeToString(token[:])
	e := entry{Device{ID: "d-" + hex.EncodeToString(id[:]), Name: name, Role: role, Paired: at.UTC().Truncate(time.Second)}, sumOf(text)}
	if err := d.save(append(slices.Clone(d.list), e)); err != nil {
		return Device{}, "", err
	}
	return e.shown(), text, nil
}

// Revoke takes a device off the list and reports whether it was there. Its token opens nothing from then on.
func (d *Devices) Revoke(id string) (bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.refresh(); err != nil {
		return false, err
	}
	rest := slices.DeleteFunc(slices.Clone(d.list), func(e entry) bool { return e.ID == id })
	if len(rest) == len(d.list) {
		return false, nil
	}
	return true, d.save(rest)
}

// byToken finds the device that a token belongs to. Hashes are compared, so how
// long it takes tells nothing about a token.
func (d *Devices) byToken(token string) (Device, bool, error) {
	sum := sumOf(token)
	return d.find(func(e entry) bool { return e.Sum == sum })
}

func (d *Devices) byID(id string) (Device, bool, error) {
	return d.find(func(e entry) bool { return e.ID == id })
}

func (d *Devices) find(match func(entry) bool) (Device, bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.refresh(); err != nil {
		return Device{}, false, err
	}
	if i := slices.IndexFunc(d.list, match); i >= 0 {
		return d.list[i].shown(), true, nil
	}
	return Device{}, false, nil
}

func sumOf(token string) string {
	s := sha256.Sum256([]byte(token))
	return hex.EncodeToString(s[:])
}
