package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// env is an environment for readSettings.
func env(pairs ...string) func(string) string {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return func(name string) string { return m[name] }
}

func configOf(t *testing.T, text string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "config.yaml")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestAFlagComesBeforeTheEnvironmentAndThatBeforeTheConfigFile(t *testing.T) {
	lonely(t)
	config := configOf(t, "listen: 127.0.0.1:1\nplan: file.yaml\nexisting: skip\npoll: true\nlooks-on: true\nhosts: a.local\nlog: json\ndata: file-data\nfolder: file-folder\nfresh: true\n")
	environment := env("THIRDSTOP_CONFIG", config, "THIRDSTOP_LISTEN", "127.0.0.1:2", "THIRDSTOP_PLAN", "env.yaml", "THIRDSTOP_POLL", "false",
		"THIRDSTOP_LOOKS_ON", "0", "THIRDSTOP_DATA", "env-data", "THIRDSTOP_FOLDER", "env-folder")
	abs := func(p string) string { a, _ := filepath.Abs(p); return a }
	for name, tc := range map[string]struct {
		args []string
		env  func(string) string
		want settings
	}{
		"only the file": {nil, env("THIRDSTOP_CONFIG", config), settings{Folder: abs("file-folder"), Plan: "file.yaml", Listen: "127.0.0.1:1",
			Data: abs("file-data"), Existing: "skip", Poll: true, Fresh: true, LooksOn: true, Hosts: "a.local", Log: "json"}},
		"the file by its flag": {[]string{"--config", config}, env("THIRDSTOP_CONFIG", "elsewhere"), settings{Folder: abs("file-folder"), Plan: "file.yaml",
			Listen: "127.0.0.1:1", Data: abs("file-data"), Existing: "skip", Poll: true, Fresh: true, LooksOn: true, Hosts: "a.local", Log: "json"}},
		"environment over file": {nil, environment, settings{Folder: abs("env-folder"), Plan: "env.yaml", Listen: "127.0.0.1:2",
			Data: abs("env-data"), Existing: "skip", Fresh: true, Hosts: "a.local", Log: "json"}},
		"flags over both": {[]string{"--listen", ":3", "--plan", "flag.yaml", "--poll", "--looks-on=true", "--data", "flag-data", "--fresh=false", "--existing", "take", "--hosts", "", "--log", "text", "flag-folder"},
			environment, settings{Folder: abs("flag-folder"), Plan: "flag.yaml", Listen: ":3", Data: abs("flag-data"), Existing: "take", Poll: true, LooksOn: true, Log: "text"}},
		"nothing but a folder": {[]string{"x"}, env(), settings{Folder: abs("x"), Listen: "127.0.0.1:7353", Data: mustData(t), Existing: "take"}},
	} {
		got, err := readSettings(tc.args, tc.env)
		if err != nil || got != tc.want {
			t.Errorf("%s: %+v, %v; want %+v", name, got, err, tc.want)
		}
	}
}

func mustData(t *testing.T) string {
	t.Helper()
	d, err := dataFolder()
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestATildeMeansTheHomeFolderWhereNoShellSaysSo(t *testing.T) {
	home := lonely(t)
	t.Setenv("USERPROFILE", home)
	config := configOf(t, "folder: ~/captures\nplan: ~/plans/boathouse.yaml\ndata: ~/kept\n")
	got, err := readSettings(nil, env("THIRDSTOP_CONFIG", config))
	if err != nil || got.Folder != filepath.Join(home, "captures") || got.Plan != filepath.Join(home, "plans", "boathouse.yaml") || got.Data != filepath.Join(home, "kept") {
		t.Errorf("settings = %+v, %v", got, err)
	}
	if d, err := dataOf("", env("THIRDSTOP_CONFIG", config)); err != nil || d != got.Data {
		t.Errorf("other commands look into %s (%v), and the daemon keeps its data in %s", d, err, got.Data)
	}
	if d, err := dataOf("", env("THIRDSTOP_CONFIG", config, "THIRDSTOP_DATA", "~/env")); err != nil || d != filepath.Join(home, "env") {
		t.Errorf("with THIRDSTOP_DATA they look into %s, %v", d, err)
	}
}

func TestFaultsInSettingsNameTheFileAndTheKey(t *testing.T) {
	lonely(t)
	for text, says := range map[string][]string{
		"pol: true\n":                   {"config.yaml", "pol"},
		"plan: [a, b]\n":                {"config.yaml", "plan", "one value"},
		"hosts: {a: 1}\n":               {"config.yaml", "hosts", "one value"},
		"a: b: c\n":                     {"config.yaml", "1:4"},
		"poll: true\npoll: false\n":     {"config.yaml", "poll"},
		"poll: often\n":                 {"config.yaml", "poll", "true or false"},
		"existing: some\n":              {"existing", "some", "take"},
		"listen: nowhere\n":             {"listen", "nowhere", "127.0.0.1:7353"},
		"log: loud\n":                   {"log", "loud", "json"},
		"- a\n":                         {"config.yaml"},
		strings.Repeat("# x\n", 20_000): {"config.yaml", "64 KB"},
	} {
		_, err := readSettings([]string{"--config", configOf(t, text), "folder"}, env())
		if err == nil || errors.Is(err, errUsage) {
			t.Errorf("%.40q: %v, want a fault", text, err)
			continue
		}
		for _, s := range says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%.40q: %v, want %q in it", text, err, s)
			}
		}
		if strings.Contains(err.Error(), "Go struct") || strings.Contains(err.Error(), "interface {}") {
			t.Errorf("%.40q: %v speaks of the program's insides", text, err)
		}
	}
	for _, good := range []string{"", "# nothing\n", "data:\n", "listen: \":7353\"\n"} {
		if _, err := readSettings([]string{"--config", configOf(t, good), "folder"}, env()); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	if _, err := readSettings([]string{"folder"}, env("THIRDSTOP_POLL", "often")); err == nil || !strings.Contains(err.Error(), "THIRDSTOP_POLL") {
		t.Errorf("a wrong variable: %v", err)
	}
	if _, err := readSettings([]string{"--config", "gone.yaml", "folder"}, env()); err == nil || !strings.Contains(err.Error(), "gone.yaml") {
		t.Errorf("a config file that isn't there: %v", err)
	}
	for _, args := range [][]string{nil, {"a", "b"}, {"--unknown", "a"}, {"--plan"}} {
		if _, err := readSettings(args, env()); !errors.Is(err, errUsage) {
			t.Errorf("run %q: %v, want wrong use", args, err)
		}
	}
}

// What a config file can hold, it comes to an answer, and never to a panic.
func FuzzConfigFile(f *testing.F) {
	for _, s := range []string{"listen: :7353\npoll: true\n", "plan: [a]\n", "&a a: *a\n", "folder: |\n  x\n", "\xff", "---\n---\n", "? a\n: b\n"} {
		f.Add(s)
	}
	name := filepath.Join(f.TempDir(), "config.yaml")
	f.Fuzz(func(t *testing.T, text string) {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if c, err := readConfig(name); err == nil && c.name != name {
			t.Errorf("readConfig of %q is of %q", text, c.name)
		} else if err != nil && !strings.Contains(err.Error(), "config.yaml") {
			t.Errorf("the fault in %q doesn't name the file: %v", text, err)
		}
	})
}
