package main

import (
	"os"
	"path/filepath"

	"thirdstop/advise/guides"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
)

func guidesPath(data string) string { return filepath.Join(data, "guides.json") }

// theDataFolder is where the daemon keeps its things, if nothing else is said.
func theDataFolder() (string, error) {
	if v := os.Getenv("THIRDSTOP_DATA"); v != "" {
		return v, nil
	}
	return dataFolder()
}

// learnedGuides are the effective guide numbers of earlier shoots, read anew each time: a shoot that ended
// meanwhile counts. A file that can't be read is as if there were none.
func learnedGuides(data string) plan.Effective {
	return func(l plan.Light) (exposure.GuideNumber, exposure.Stops, bool) {
		s, err := guides.Open(guidesPath(data))
		if err != nil {
			return 0, 0, false
		}
		return s.Effective(l)
	}
}

// keepGuides notes what this shoot taught of its flashes.
func (d *daemon) keepGuides(sh *shoot.Shoot) {
	taught := sh.Snapshot().State.LightGuides()
	if len(taught) == 0 {
		return
	}
	s, err := guides.Open(guidesPath(d.Data))
	if err == nil {
		for _, g := range taught {
			s.Add(sh.ID(), guides.KeyOf(g.Light), g.Guide)
		}
		err = s.Save()
	}
	if err != nil { // the shoot itself is recorded all the same
		d.log.Warn().Msg("learned guide numbers were not kept")
		d.say("Note: %v.", err)
	}
}
