package index

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/trail"
	"thirdstop/assess/tone"
)

// Updated says what an update did.
type Updated struct {
	Read int // trails that were read, because they were new or had changed
	Gone int // shoots whose folder is no longer there
	Bad  int // trails that can't be read
}

// Update reads the trails in a folder of shoots that changed since they were read last. The one that is open, if it is
// known already, is left as it was: it changes with every frame, and is read when it rests.
func (x *Index) Update(ctx context.Context, shoots, open string) (Updated, error) {
	var u Updated
	entries, err := os.ReadDir(shoots)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return u, fmt.Errorf("the shoots can't be listed: %w", err)
	}
	type known struct {
		size     int64
		modified string
	}
	have := map[string]known{}
	rows, err := x.db.QueryContext(ctx, "SELECT id, size, modified FROM shoots")
	if err != nil {
		return u, err
	}
	for rows.Next() {
		var id string
		var k known
		if err := rows.Scan(&id, &k.size, &k.modified); err != nil {
			rows.Close()
			return u, err
		}
		have[id] = k
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return u, err
	}
	for _, e := range entries {
		st, err := os.Stat(filepath.Join(shoots, e.Name(), "trail.jsonl"))
		if err != nil {
			continue // no shoot, or one that a crash left half made
		}
		now := known{st.Size(), st.ModTime().UTC().Format(time.RFC3339Nano)}
		was, ok := have[e.Name()]
		delete(have, e.Name())
		if ok && (was == now || e.Name() == open) {
			continue
		}
		a, err := account.ReadContext(ctx, filepath.Join(shoots, e.Name()))
		if ctx.Err() != nil {
			return u, ctx.Err()
		}
		u.Read++
		fault := ""
		if err != nil {
			u.Bad++
			fault = err.Error()
			a = &account.Account{ID: e.Name()}
			if h, err := trail.ReadHeader(filepath.Join(shoots, e.Name())); err == nil {
				a.Header, a.Last = h, h.At
			}
		}
		if err := x.change(ctx, func(tx *sql.Tx) error { return put(tx, a, now.size, now.modified, fault) }); err != nil {
			return u, fmt.Errorf("the index can't take %s: %w", e.Name(), err)
		}
	}
	for id := range have {
		u.Gone++
		if _, err := x.db.ExecContext(ctx, "DELETE FROM shoots WHERE id = ?", id); err != nil {
			return u, err
		}
	}
	return u, nil
}

// put writes a shoot's rows in place of those it had.
func put(tx *sql.Tx, a *account.Account, size int64, modified, fault string) error {
	if _, err := tx.Exec("DELETE FROM shoots WHERE id = ?", a.ID); err != nil {
		return err
	}
	lit := a.Final
	base := a.Baseline()
	if a.AtBaseline.Plan != nil {
		lit = a.AtBaseline
	}
	s := Shoot{ID: a.ID, Phase: string(a.Final.Phase), Program: a.Header.Program, Rules: strings.Join(a.Rules, ", "), Frames: a.Final.FrameCount,
		Baseline: a.Final.Baseline, FNumber: lit.FNumber, ISO: lit.ISO, Shutter: lit.Shutter}
	if a.Head.Seq > 0 {
		s.Head = a.Head.String()
	}
	for _, f := range a.Frames {
		if !f.Stands {
			continue
		}
		if len(f.Judged) > 0 {
			s.Judged++
			if f.OnTarget {
				s.OnTarget++
			}
		}
		if f.Camera != "" {
			s.Camera, s.Lens, s.Focal = f.Camera, f.Lens, f.Focal
		}
	}
	if lit.Plan != nil {
		s.Name, s.Backdrop, s.BackdropAt = lit.Plan.Shoot, string(lit.Plan.Backdrop.Colour), lit.Plan.Backdrop.Distance
	}
	words := []string{s.ID, s.Name, s.Camera, s.Lens, s.Backdrop}
	for _, l := range lit.Lights {
		x := Light{Group: l.Group, Role: l.Role, Name: l.Name, Power: l.Power, PowerText: l.PowerText, Off: l.Off, Distance: l.Distance, Modifier: l.Modifier}
		if l.Bearing != nil {
			x.Direction = l.Bearing.String()
		}
		for _, from := range []advise.State{a.Final, lit} { // the newest frames know best
			if g, ok := from.LearnedGuide(l.Group); ok {
				x.Guide, x.GuideSigma = g.Number, g.Sigma
				break
			}
		}
		s.Lights = append(s.Lights, x)
		words = append(words, x.Name, x.Modifier)
	}
	if base != nil {
		for _, e := range base.Judged {
			s.Levels = append(s.Levels, Level{string(e.Region), e.Name, e.Now, e.NowSigma, e.AtLeast})
		}
	}
	_, err := tx.Exec(`INSERT INTO shoots (size, modified, words, `+shootColumns+`) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		size, modified, strings.Join(words, "\n"),
		s.ID, moment(a.Header.At), moment(a.Last), s.Phase, s.Name, s.Program, s.Rules, s.Frames, s.Judged, s.OnTarget, s.Baseline,
		float64(s.FNumber), float64(s.ISO), float64(s.Shutter), s.Camera, s.Lens, s.Focal, s.Backdrop, float64(s.BackdropAt), s.Head, fault)
	if err != nil {
		return err
	}
	for i, l := range s.Lights {
		if _, err := tx.Exec("INSERT INTO lights VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", s.ID, i, l.Group, l.Role, l.Name, int(l.Power), l.PowerText,
			l.Off, float64(l.Distance), l.Modifier, l.Direction, float64(l.Guide), float64(l.GuideSigma)); err != nil {
			return err
		}
	}
	for _, l := range s.Levels {
		if _, err := tx.Exec("INSERT INTO levels VALUES (?, ?, ?, ?, ?, ?)", s.ID, l.Region, l.Name, float64(l.Value), float64(l.Sigma), l.AtLeast); err != nil {
			return err
		}
	}
	return nil
}

func moment(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// PutCurves takes the learned tone curves over from their store.
func (x *Index) PutCurves(ctx context.Context, entries []tone.Entry) error {
	return x.change(ctx, func(tx *sql.Tx) error {
		if _, err := tx.Exec("DELETE FROM curves"); err != nil {
			return err
		}
		for _, e := range entries {
			if _, err := tx.Exec("INSERT OR REPLACE INTO curves VALUES (?, ?, ?, ?, ?)", e.Key.Camera(), e.Key.Rendering(), e.Curve.Name(), moment(e.Learned), e.Frames); err != nil {
				return err
			}
		}
		return nil
	})
}

// Search gives the shoots that hold all of the words, the newest first, in whatever case: in what is indexed, or in
// the names and notes of their side files, which are read now and kept nowhere.
func (x *Index) Search(ctx context.Context, shoots string, words []string) ([]Shoot, error) {
	all, err := x.List(ctx, 0)
	if err != nil {
		return nil, err
	}
	var out []Shoot
	for _, s := range all {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var text string
		if err := x.db.QueryRowContext(ctx, "SELECT words FROM shoots WHERE id = ?", s.ID).Scan(&text); err != nil {
			return nil, err
		}
		missing := without(words, text)
		if len(missing) > 0 {
			texts, err := trail.ReadTexts(filepath.Join(shoots, s.ID))
			if err != nil {
				continue
			}
			for t := range texts.All() {
				if missing = without(missing, t); len(missing) == 0 {
					break
				}
			}
			texts.Close()
		}
		if len(missing) == 0 {
			out = append(out, s)
		}
	}
	return out, nil
}

// without leaves out the words that a text holds.
func without(words []string, text string) []string {
	text = strings.ToLower(text)
	var out []string
	for _, w := range words {
		if !strings.Contains(text, strings.ToLower(w)) {
			out = append(out, w)
		}
	}
	return out
}
