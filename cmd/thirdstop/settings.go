package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"

	"thirdstop/watcher"
)

// settings are what `run` can be told. A flag comes before an environment
// variable, and that before the config file.
type settings struct {
	Folder   string
	Plan     string
	Listen   string
	Data     string
	Existing string
	Poll     bool
	Fresh    bool
	Rebuild  string
	LooksOn  bool
	HTTPS    bool
	Hosts    string
	Log      string
}

// setting is one of them: its flag, its key in the config file, and its
// environment variable THIRDSTOP_KEY.
type setting struct {
	name string
	text *string
	on   *bool
	path bool // of a file or folder
}

func (s *settings) all() []setting {
	return []setting{
		{name: "plan", text: &s.Plan, path: true},
		{name: "listen", text: &s.Listen},
		{name: "data", text: &s.Data, path: true},
		{name: "existing", text: &s.Existing},
		{name: "poll", on: &s.Poll},
		{name: "fresh", on: &s.Fresh},
		{name: "rebuild", text: &s.Rebuild},
		{name: "looks-on", on: &s.LooksOn},
		{name: "https", on: &s.HTTPS},
		{name: "hosts", text: &s.Hosts},
		{name: "log", text: &s.Log},
	}
}

func (v setting) env() string {
	return "THIRDSTOP_" + strings.ToUpper(strings.ReplaceAll(v.name, "-", "_"))
}

// errUsage says that the help text follows.
var errUsage = errors.New("wrong use")

// readSettings takes flags, environment and config file together. getenv is os.Getenv.
func readSettings(args []string, getenv func(string) string) (settings, error) {
	var s settings
	config := ""
	flags := flag.NewFlagSet("run", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.StringVar(&config, "config", getenv("THIRDSTOP_CONFIG"), "")
	for _, v := range s.all() {
		if v.on != nil {
			flags.BoolVar(v.on, v.name, false, "")
		} else {
			flags.StringVar(v.text, v.name, "", "")
		}
	}
	if err := parseFlags(flags, args); err != nil {
		return s, fmt.Errorf("%w: %w", errUsage, err)
	}
	if flags.NArg() > 1 {
		return s, fmt.Errorf("%w: give one folder, after the flags; these are %d: %s", errUsage, flags.NArg(), strings.Join(flags.Args(), " "))
	}
	given := map[string]bool{}
	flags.Visit(func(f *flag.Flag) { given[f.Name] = true })
	file, err := readConfig(config)
	if err != nil {
		return s, err
	}
	for _, v := range s.all() {
		if given[v.name] {
			continue
		}
		value, from := getenv(v.env()), v.env()
		if value == "" {
			value, from = file.values[v.name], file.name+": "+v.name
		}
		if value == "" {
			continue
		}
		if v.text != nil {
			*v.text = value
			if v.path {
				*v.text = fromHome(value)
			}
			continue
		}
		if *v.on, err = strconv.ParseBool(value); err != nil {
			return s, fmt.Errorf("%s is %q; write true or false", from, value)
		}
	}
	s.Folder = flags.Arg(0)
	if s.Folder == "" {
		s.Folder = fromHome(getenv("THIRDSTOP_FOLDER"))
	}
	if s.Folder == "" {
		s.Folder = fromHome(file.values["folder"])
	}
	return s, s.complete()
}

// complete fills in what was left open and checks the rest.
func (s *settings) complete() error {
	if s.Rebuild != "" && s.Plan != "" {
		return fmt.Errorf("%w: --rebuild brings the light plan of the earlier shoot; leave --plan out", errUsage)
	}
	if s.Folder == "" {
		return fmt.Errorf("%w: name the folder that your camera's files land in", errUsage)
	}
	var err error
	if s.Folder, err = filepath.Abs(s.Folder); err != nil {
		return fmt.Errorf("the capture folder: %w", err)
	}
	if s.Listen == "" {
		s.Listen = "127.0.0.1:7353"
	}
	if _, port, err := net.SplitHostPort(s.Listen); err != nil || !isPort(port) {
		return fmt.Errorf("listen is %q; write an address and a port like 127.0.0.1:7353, or :7353 for every tablet in the network", s.Listen)
	}
	if s.Data == "" {
		if s.Data, err = dataFolder(); err != nil {
			return err
		}
	}
	if s.Data, err = filepath.Abs(s.Data); err != nil {
		return fmt.Errorf("the data folder: %w", err)
	}
	switch s.Existing {
	case "":
		s.Existing = watcher.TakeExisting.String()
	case watcher.TakeExisting.String(), watcher.SkipExisting.String():
	default:
		return fmt.Errorf("existing is %q; write %q or %q", s.Existing, watcher.TakeExisting, watcher.SkipExisting)
	}
	return checkLog(s.Log)
}

func checkLog(kind string) error {
	switch kind {
	case "", "text", "json":
		return nil
	}
	return fmt.Errorf("log is %q; write \"text\" or \"json\"", kind)
}

// dataFolder is where shoots, devices and cache lie: XDG_DATA_HOME on Linux, and
// the usual places elsewhere.
func dataFolder() (string, error) {
	if d := os.Getenv("XDG_DATA_HOME"); d != "" && runtime.GOOS != "darwin" && runtime.GOOS != "windows" {
		return filepath.Join(d, "thirdstop"), nil
	}
	switch runtime.GOOS {
	case "windows":
		if d := os.Getenv("LocalAppData"); d != "" {
			return filepath.Join(d, "thirdstop"), nil
		}
	case "darwin":
		if d, err := os.UserConfigDir(); err == nil { // Library/Application Support
			return filepath.Join(d, "thirdstop"), nil
		}
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("there is no home folder for thirdstop's data (%w); name one with --data", err)
	}
	return filepath.Join(home, ".local", "share", "thirdstop"), nil
}

// configFile is a config file as read: plain keys and values.
type configFile struct {
	name   string
	values map[string]string
}

// readConfig reads the named file, or the usual one if it is there.
func readConfig(name string) (configFile, error) {
	usual := name == ""
	if usual {
		dir, err := os.UserConfigDir()
		if err != nil {
			return configFile{}, nil
		}
		name = filepath.Join(dir, "thirdstop", "config.yaml")
	}
	text, err := os.ReadFile(name)
	if usual && errors.Is(err, fs.ErrNotExist) {
		return configFile{}, nil
	}
	if err != nil {
		return configFile{}, fmt.Errorf("the config file can't be read: %w", aboutFile(name, err, "check the name after --config or in THIRDSTOP_CONFIG"))
	}
	if len(text) > 64<<10 {
		return configFile{}, fmt.Errorf("%s is larger than 64 KB, so it can't be thirdstop's config file", name)
	}
	var keys struct {
		Folder   any `yaml:"folder"`
		Plan     any `yaml:"plan"`
		Listen   any `yaml:"listen"`
		Data     any `yaml:"data"`
		Existing any `yaml:"existing"`
		Poll     any `yaml:"poll"`
		Fresh    any `yaml:"fresh"`
		Rebuild  any `yaml:"rebuild"`
		LooksOn  any `yaml:"looks-on"`
		HTTPS    any `yaml:"https"`
		Hosts    any `yaml:"hosts"`
		Log      any `yaml:"log"`
	}
	if err := yaml.UnmarshalWithOptions(text, &keys, yaml.Strict()); err != nil {
		return configFile{}, fmt.Errorf("%s: %s\nit holds lines like \"plan: boathouse.yaml\", each key once; the keys are folder and the long flags of \"thirdstop run --help\"",
			name, strings.TrimSpace(yaml.FormatError(err, false, true)))
	}
	file := configFile{name: name, values: map[string]string{}}
	for key, v := range map[string]any{"folder": keys.Folder, "plan": keys.Plan, "listen": keys.Listen, "data": keys.Data,
		"existing": keys.Existing, "poll": keys.Poll, "fresh": keys.Fresh, "rebuild": keys.Rebuild, "looks-on": keys.LooksOn, "https": keys.HTTPS, "hosts": keys.Hosts, "log": keys.Log} {
		switch v := v.(type) {
		case nil:
		case string:
			file.values[key] = v
		case bool, int, int64, uint64:
			file.values[key] = fmt.Sprint(v)
		default:
			return configFile{}, fmt.Errorf("%s: %s is a list or something else that is no text; write one value", name, key)
		}
	}
	return file, nil
}

// dataOf is the data folder that a subcommand works on: the one given, else where
// `run` keeps it.
func dataOf(given string, getenv func(string) string) (string, error) {
	if given == "" {
		given = fromHome(getenv("THIRDSTOP_DATA"))
	}
	if given == "" {
		file, err := readConfig(getenv("THIRDSTOP_CONFIG"))
		if err != nil {
			return "", err
		}
		given = fromHome(file.values["data"])
	}
	if given == "" {
		return dataFolder()
	}
	return filepath.Abs(given)
}

// fromHome gives "~/" its meaning, where no shell did.
func fromHome(path string) string {
	if rest, ok := strings.CutPrefix(path, "~/"); ok {
		if home, err := os.UserHomeDir(); err == nil {
			return filepath.Join(home, rest)
		}
	}
	return path
}
