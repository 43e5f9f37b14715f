package index

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"thirdstop/assess/exposure"
)

// version is that of the tables. A file of another version is thrown away and made anew.
const version = 1

// tables: times are RFC 3339 in UTC, powers in thirtieths of a stop from full, levels in stops to clipping, distances in metres.
const tables = `
CREATE TABLE shoots (
	id TEXT PRIMARY KEY,
	size INTEGER NOT NULL,       -- of its trail when it was read
	modified TEXT NOT NULL,      -- of its trail
	began TEXT NOT NULL,
	last TEXT NOT NULL,
	phase TEXT NOT NULL,
	name TEXT NOT NULL,
	program TEXT NOT NULL,
	rules TEXT NOT NULL,
	frames INTEGER NOT NULL,
	judged INTEGER NOT NULL,
	on_target INTEGER NOT NULL,
	baseline INTEGER NOT NULL,   -- frame number, 0 none
	f_number REAL NOT NULL, iso REAL NOT NULL, shutter_s REAL NOT NULL,
	camera TEXT NOT NULL, lens TEXT NOT NULL, focal_mm REAL NOT NULL,
	backdrop TEXT NOT NULL, backdrop_m REAL NOT NULL,
	head TEXT NOT NULL,
	words TEXT NOT NULL,         -- what a search looks through
	fault TEXT NOT NULL          -- why its record can't be read, '' if it can
) STRICT;
CREATE TABLE lights (
	shoot TEXT NOT NULL REFERENCES shoots(id) ON DELETE CASCADE,
	n INTEGER NOT NULL,
	grp TEXT NOT NULL, role TEXT NOT NULL, name TEXT NOT NULL,
	power INTEGER NOT NULL, power_text TEXT NOT NULL, off INTEGER NOT NULL,
	distance_m REAL NOT NULL, modifier TEXT NOT NULL, direction TEXT NOT NULL,
	guide REAL NOT NULL, guide_sigma_stops REAL NOT NULL, -- learned, with its modifier; 0 not learned
	PRIMARY KEY (shoot, n)
) STRICT;
CREATE TABLE levels (
	shoot TEXT NOT NULL REFERENCES shoots(id) ON DELETE CASCADE,
	region TEXT NOT NULL, name TEXT NOT NULL,
	level_stops REAL NOT NULL, sigma_stops REAL NOT NULL, at_least INTEGER NOT NULL,
	PRIMARY KEY (shoot, region)
) STRICT;
CREATE TABLE curves (
	camera TEXT NOT NULL, rendering TEXT NOT NULL, curve TEXT NOT NULL, learned TEXT NOT NULL, frames INTEGER NOT NULL,
	PRIMARY KEY (camera, rendering)
) STRICT;
`

// Index is the open index. Its methods may be called from several goroutines, and other programs may have it open.
type Index struct {
	db *sql.DB
}

// Shoot is a recorded shoot: how it was lit when its baseline was accepted, else at its end.
type Shoot struct {
	ID                       string
	Began, Last              time.Time // UTC
	Phase                    string
	Name                     string // of its plan, "" where it had none
	Program, Rules           string
	Frames, Judged, OnTarget int
	Baseline                 int // frame number, 0 none
	FNumber                  exposure.FNumber
	ISO                      exposure.ISO
	Shutter                  exposure.Shutter
	Camera, Lens             string
	Focal                    float64 // mm, 0 not recorded
	Backdrop                 string
	BackdropAt               exposure.Metres
	Head                     string
	Fault                    string // why its record can't be read; then all else may be empty
	Lights                   []Light
	Levels                   []Level
}

// Light is a light of a shoot.
type Light struct {
	Group, Role, Name string
	Power             exposure.Dial
	PowerText         string
	Off               bool
	Distance          exposure.Metres
	Modifier          string
	Direction         string               // as the plan says it, "" not known
	Guide             exposure.GuideNumber // learned, with its modifier; 0 not learned
	GuideSigma        exposure.Stops
}

// Level is a judged region of the baseline.
type Level struct {
	Region, Name string
	Value, Sigma exposure.Stops
	AtLeast      bool
}

// Curve is a learned tone curve.
type Curve struct {
	Camera, Rendering, Name string
	Learned                 time.Time
	Frames                  int
}

// ErrNoShoot says that the index has no such shoot.
var ErrNoShoot = errors.New("there is no such shoot")

// Open opens the index, or makes an empty one where there is none, another version's, or a file that is no database.
func Open(path string) (*Index, error) {
	x, err := open(path)
	if err == nil {
		return x, nil
	}
	// It holds nothing of its own, so what can't be used goes.
	for _, p := range []string{path, path + "-journal", path + "-wal", path + "-shm"} {
		if rerr := os.Remove(p); rerr != nil && !errors.Is(rerr, fs.ErrNotExist) {
			return nil, fmt.Errorf("the index of the shoots can't be used (%w), and can't be deleted: %w", err, rerr)
		}
	}
	if x, err = open(path); err != nil {
		return nil, fmt.Errorf("the index of the shoots can't be made: %w; look whether the disk is full and the folder can be written", err)
	}
	return x, nil
}

func open(path string) (*Index, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	slashed := filepath.ToSlash(abs)
	if !strings.HasPrefix(slashed, "/") { // C:/...
		slashed = "/" + slashed
	}
	name := url.URL{Scheme: "file", Path: slashed,
		RawQuery: "_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)&_pragma=journal_mode(DELETE)&_pragma=secure_delete(1)&_txlock=immediate"}
	db, err := sql.Open("sqlite", name.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	x := &Index{db: db}
	if err := x.lay(); err != nil {
		db.Close()
		return nil, err
	}
	return x, nil
}

// lay makes the tables of a new file, and refuses those of another version.
func (x *Index) lay() error {
	return x.change(context.Background(), func(tx *sql.Tx) error {
		var v int
		if err := tx.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
			return err
		}
		switch v {
		case version:
			var n int
			return tx.QueryRow("SELECT count(*) FROM shoots, lights, levels, curves WHERE 0").Scan(&n)
		case 0:
			if _, err := tx.Exec(tables); err != nil {
				return err
			}
			_, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", version))
			return err
		}
		return fmt.Errorf("it is of version %d", v)
	})
}

func (x *Index) change(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := x.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// Close closes the file.
func (x *Index) Close() error { return x.db.Close() }

const shootColumns = `id, began, last, phase, name, program, rules, frames, judged, on_target, baseline, f_number, iso, shutter_s,
	camera, lens, focal_mm, backdrop, backdrop_m, head, fault`

func scanShoot(scan func(...any) error) (s Shoot, err error) {
	var began, last string
	err = scan(&s.ID, &began, &last, &s.Phase, &s.Name, &s.Program, &s.Rules, &s.Frames, &s.Judged, &s.OnTarget, &s.Baseline, &s.FNumber, &s.ISO,
		&s.Shutter, &s.Camera, &s.Lens, &s.Focal, &s.Backdrop, &s.BackdropAt, &s.Head, &s.Fault)
	if err == nil {
		s.Began, err = time.Parse(time.RFC3339, began)
	}
	if err == nil {
		s.Last, err = time.Parse(time.RFC3339, last)
	}
	return s, err
}

// List gives up to limit shoots, the newest first, without their lights and levels; all for a limit of 0.
func (x *Index) List(ctx context.Context, limit int) ([]Shoot, error) {
	if limit <= 0 {
		limit = -1
	}
	rows, err := x.db.QueryContext(ctx, "SELECT "+shootColumns+" FROM shoots ORDER BY began DESC, id DESC LIMIT ?", limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []Shoot
	for rows.Next() {
		s, err := scanShoot(rows.Scan)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// Get is one shoot whole.
func (x *Index) Get(ctx context.Context, id string) (Shoot, error) {
	s, err := scanShoot(x.db.QueryRowContext(ctx, "SELECT "+shootColumns+" FROM shoots WHERE id = ?", id).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return s, fmt.Errorf("%s: %w", id, ErrNoShoot)
	}
	if err != nil {
		return s, err
	}
	rows, err := x.db.QueryContext(ctx, `SELECT grp, role, name, power, power_text, off, distance_m, modifier, direction, guide, guide_sigma_stops
		FROM lights WHERE shoot = ? ORDER BY n`, id)
	if err != nil {
		return s, err
	}
	defer rows.Close()
	for rows.Next() {
		var l Light
		if err := rows.Scan(&l.Group, &l.Role, &l.Name, &l.Power, &l.PowerText, &l.Off, &l.Distance, &l.Modifier, &l.Direction, &l.Guide, &l.GuideSigma); err != nil {
			return s, err
		}
		s.Lights = append(s.Lights, l)
	}
	if err := rows.Err(); err != nil {
		return s, err
	}
	levels, err := x.db.QueryContext(ctx, "SELECT region, name, level_stops, sigma_stops, at_least FROM levels WHERE shoot = ? ORDER BY region", id)
	if err != nil {
		return s, err
	}
	defer levels.Close()
	for levels.Next() {
		var l Level
		if err := levels.Scan(&l.Region, &l.Name, &l.Value, &l.Sigma, &l.AtLeast); err != nil {
			return s, err
		}
		s.Levels = append(s.Levels, l)
	}
	return s, levels.Err()
}

// Curves lists the learned tone curves.
func (x *Index) Curves(ctx context.Context) ([]Curve, error) {
	rows, err := x.db.QueryContext(ctx, "SELECT camera, rendering, curve, learned, frames FROM curves ORDER BY camera, rendering")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []Curve
	for rows.Next() {
		var c Curve
		var at string
		if err := rows.Scan(&c.Camera, &c.Rendering, &c.Name, &at, &c.Frames); err != nil {
			return nil, err
		}
		if c.Learned, err = time.Parse(time.RFC3339, at); err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, rows.Err()
}
