package main

import (
	"cmp"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"regexp"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station"
	"twocup/station/batch"
)

// config is a configuration without faults.
type config struct {
	listen    string
	data      string
	stations  []station.Config  // as far as the file goes
	simulated map[string]string // of the stations whose scale is simulated, by id, its unit: their links are made when they start
}

const (
	defaultListen   = "127.0.0.1:8280"
	defaultSettle   = 1500 * time.Millisecond
	defaultHandOver = 4 * time.Second
)

// defaultAuto is what a station does by itself unless it is told otherwise.
var defaultAuto = batch.Auto{Tare: true, Accept: true, Settle: defaultSettle, HandOver: defaultHandOver}

var idPattern = regexp.MustCompile(`^[a-z0-9-]+$`)

// readConfig reads a configuration and returns all of its faults.
func readConfig(data []byte) (config, []fault) {
	var f faults
	root, ok := parseFile(&f, data)
	if !ok {
		return config{}, f.list
	}
	cfg := config{
		listen: root.text("listen", defaultListen, checkListen),
		data:   root.required("data"),

		simulated: map[string]string{},
	}
	root.notBuilt("access")
	seen := map[string]bool{}
	for _, s := range root.sections("stations") {
		st, unit := readStation(s)
		if unit != "" {
			cfg.simulated[st.ID] = unit
		}
		if seen[st.ID] {
			s.fault("id", fmt.Sprintf("%q names a station already", st.ID))
		}
		seen[st.ID] = true
		if st.Link != nil && seen["link "+st.Link.Name()] {
			s.fault("scales", fmt.Sprintf("%q is another station's scale already", st.Link.Name()))
		} else if st.Link != nil {
			seen["link "+st.Link.Name()] = true
		}
		cfg.stations = append(cfg.stations, st)
	}
	root.rest()
	return cfg, f.sorted()
}

// checkListen keeps the daemon on this machine until there is a way to say who may reach it.
func checkListen(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("%q is not an address with a port, such as %s", address, defaultListen)
	}
	if ip, err := netip.ParseAddr(host); host != "localhost" && (err != nil || !ip.IsLoopback()) {
		return fmt.Errorf("%q is not this machine's own loopback address, and `access:` is not built yet: use %s", address, defaultListen)
	}
	return nil
}

func readStation(s *section) (st station.Config, simulated string) {
	st = station.Config{ID: s.text("id", "", checkID), Name: s.text("name", "", nil), Auto: defaultAuto}
	if st.ID == "" {
		s.fault("id", "is required")
	}
	if st.Name == "" {
		st.Name = st.ID
	}
	if a := s.section("auto"); a != nil {
		st.Auto = batch.Auto{
			Tare: a.flag("tare", true), Accept: a.flag("accept", true),
			Settle: a.duration("settle", defaultSettle), HandOver: a.duration("hand_over", defaultHandOver),
		}
		a.rest()
	}
	if k := s.section("keys"); k != nil {
		st.Pedal = k.text("pedal", "", checkPedal)
		k.rest()
	}
	scales := s.sections("scales")
	if len(scales) > 1 {
		scales[1].fault("", "more than one scale at a station is not built yet")
	}
	if len(scales) > 0 {
		simulated = readScale(scales[0], &st)
	}
	s.rest()
	return st, simulated
}

func checkID(id string) error {
	if !idPattern.MatchString(id) {
		return fmt.Errorf("%q is not made of a-z, 0-9 and - only", id)
	}
	return nil
}

// pedals are the keys that a pedal may send, by their names in W3C UI Events: none that a scanner sends or a person types.
var pedals = regexp.MustCompile(`^(Enter|F([1-9]|1[0-9]|2[0-4])|PageUp|PageDown|Home|End|Insert|Pause|ScrollLock|Arrow(Up|Down|Left|Right))$`)

func checkPedal(key string) error {
	if !pedals.MatchString(key) {
		return fmt.Errorf("%q is no key of a pedal: Enter, F1 to F24, PageUp, PageDown, Home, End, Insert, Pause, ScrollLock or ArrowUp, ArrowDown, ArrowLeft, ArrowRight", key)
	}
	return nil
}

func readScale(s *section, st *station.Config) (simulated string) {
	st.Scale.ID = s.text("id", "", checkID)
	if st.Scale.ID == "" {
		s.fault("id", "is required")
	}
	text := s.required("link")
	st.LinkText = text
	if text == "sim:" {
		simulated = cmp.Or(s.text("unit", "", nil), "g")
	} else if text != "" {
		var err error
		if st.Link, err = scaledrv.ParseLink(text); err != nil {
			s.fault("link", err.Error())
		}
	}
	st.Shape = readShape(s, text)
	if _, ranges := s.value("division").(*ast.SequenceNode); ranges {
		s.fault("division", "divisions by range are not built yet: state the step that the display starts with")
		return simulated
	}
	st.Scale.Division = s.mass("division", reading.Mass(1))
	if !s.has("division") && st.Shape.Name() != "auto" {
		s.fault("division", "is required: the step of the scale's display, such as 0.1 g")
	}
	st.Scale.Capacity = s.mass("capacity", reading.Mass(1))
	st.Scale.Linearity = s.mass("linearity", 0)
	if st.Scale.Repeatability = s.mass("repeatability", 0); s.has("repeatability") {
		st.Scale.Repeatability = max(st.Scale.Repeatability, 1) // a stated zero is not the same as none stated
	}
	st.Driver = readDriver(s)
	for _, key := range []string{"request", "commands"} {
		if st.Shape.Name() == "hid" && s.has(key) {
			s.fault(key, "nothing is ever sent to a HID scale: leave it out")
		}
	}
	s.rest()
	return simulated
}

// readShape reads how the scale of a link lays out its lines. A fault of the pattern stands at the pattern.
func readShape(s *section, link string) scaledrv.Shape {
	opt := scaledrv.ShapeOptions{Pattern: s.text("pattern", "", nil)}
	if text := s.text("unit", "", nil); text != "" {
		var err error
		if opt.Unit, err = reading.ParseUnit(text); err != nil {
			s.fault("unit", err.Error())
		}
	}
	name := s.text("shape", "auto", nil)
	if strings.HasPrefix(link, "hid:") && name == "auto" {
		name = "hid"
	}
	shape, err := scaledrv.ShapeByName(name, opt)
	if err == nil {
		err = checkShape(name, link)
	}
	switch {
	case err != nil && s.has("pattern"):
		s.fault("pattern", err.Error())
	case err != nil:
		s.fault("shape", err.Error())
	}
	return shape
}

// checkShape: the lines of a HID link have one shape, and no scale sends them on a serial line.
func checkShape(shape, link string) error {
	switch kind, _, _ := strings.Cut(link, ":"); {
	case kind == "hid" && shape != "hid":
		return fmt.Errorf("%q is read by what the scale's descriptor says: leave the shape out, or state shape: hid", link)
	case kind == "serial" && shape == "hid":
		return errors.New("a scale on a serial line has no reports: write the link as hid:/dev/hidraw0, or name the shape of its lines")
	}
	return nil
}

// readDriver reads how the scale is asked and what its silence means. What is sent is exactly what stands there.
func readDriver(s *section) scaledrv.Options {
	opt := scaledrv.Options{
		StaleAfter: s.duration("stale_after", 2*time.Second),
		Request:    []byte(s.text("request", "", nil)),
		Every:      s.duration("every", 0),
		AutoOff:    s.duration("auto_off", 0),
	}
	switch {
	case s.has("every") && len(opt.Request) == 0:
		s.fault("every", "needs a request: it is the time between two of them")
	case opt.Every >= opt.StaleAfter:
		s.fault("every", fmt.Sprintf("%v leaves each value stale (stale_after %v) before the next is asked for", opt.Every, opt.StaleAfter))
	}
	if c := s.section("commands"); c != nil {
		opt.Tare, opt.Zero = []byte(c.text("tare", "", nil)), []byte(c.text("zero", "", nil))
		c.rest()
	}
	return opt
}
