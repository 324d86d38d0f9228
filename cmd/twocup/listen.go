package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
)

type listenCommand struct {
	Port    string        `arg:"" help:"Where the scale is: a path such as /dev/ttyUSB0, or a link as in a scale's entry, with settings."`
	Shape   string        `default:"auto" placeholder:"NAME" help:"Shape of its lines; auto finds it out."`
	Pattern string        `placeholder:"TEXT" help:"The expression, with --shape pattern."`
	Unit    string        `placeholder:"SYMBOL" help:"Unit of lines that state none."`
	Request string        `placeholder:"TEXT" help:"For a scale that sends only on request, a Go string such as 'SI\\r\\n'; by default nothing is sent."`
	Every   time.Duration `placeholder:"TIME" help:"Between two requests; by default 200ms."`
	Record  string        `placeholder:"FILE" help:"Keeps the raw bytes with their times, to be replayed or sent to us. Made new, never over another."`
	For     time.Duration `placeholder:"TIME" help:"Ends after so long; by default with Ctrl-C."`
	JSON    bool          `name:"json" help:"One JSON object a line, of readings, of lines that are none, of changes of the link and of what auto has found alike."`
}

func (c listenCommand) Run(ctx context.Context, s streams) error {
	link, shape, opt, err := c.settings()
	if err != nil {
		return &failure{exitUsage, err}
	}
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	stop := func(error) {}
	if c.Record != "" {
		file, err := scaledrv.CreateRecording(c.Record)
		if err != nil {
			return &failure{exitUnreachable, err}
		}
		recording := scaledrv.Record(link, file, shape, slog.New(slog.NewTextHandler(s.log, nil)).With("file", c.Record))
		link = recording
		stop = func(of error) {
			if err := errors.Join(recording.Close(), file.Close()); err != nil {
				fmt.Fprintf(s.log, "twocup: %v\n", err)
			}
			if f, ok := errors.AsType[*failure](of); ok && f.code == exitUnreachable {
				_ = os.Remove(c.Record) // nothing was heard: the name stays free for the next try
			}
		}
	}
	fmt.Fprintf(s.log, "listening to %s, shape %s\n", strconv.Quote(link.Name()), shape.Name())
	err = listen(ctx, link, shape, opt, newLineSheet(s, c.JSON))
	stop(err)
	return err
}

// settings reads the flags. The error names the flag that is at fault.
func (c listenCommand) settings() (link scaledrv.Link, shape scaledrv.Shape, opt scaledrv.Options, err error) {
	if link, err = scaledrv.ParseLink(linkText(c.Port)); err != nil {
		return link, shape, opt, err
	}
	shapeOpt := scaledrv.ShapeOptions{Pattern: c.Pattern}
	if c.Unit != "" {
		if shapeOpt.Unit, err = reading.ParseUnit(c.Unit); err != nil {
			return link, shape, opt, fmt.Errorf("--unit: %w", err)
		}
	}
	if c.Shape == "auto" && strings.HasPrefix(linkText(c.Port), "hid:") {
		c.Shape = "hid" // there is no other
	}
	if shape, err = scaledrv.ShapeByName(c.Shape, shapeOpt); err != nil {
		return link, shape, opt, fmt.Errorf("--shape: %w", err)
	}
	if opt.Request, err = unescape("request", c.Request); err != nil {
		return link, shape, opt, err
	}
	switch {
	case c.Every < 0 || c.For < 0:
		err = errors.New("--every and --for: must not be negative")
	case c.Every > 0 && c.Request == "":
		err = errors.New("--every: needs --request, it is the time between two of them")
	}
	opt.Every = c.Every
	opt.StaleAfter = max(2*time.Second, 3*c.Every) // a scale that is asked seldom is not silent in between
	return link, shape, opt, err
}

// linkText makes a link of what stands for a port: a path, also one with colons in it, is a serial port's, unless it is
// that of a HID scale.
func linkText(port string) string {
	switch {
	case strings.HasPrefix(port, "/dev/hidraw"):
		return "hid:" + port
	case filepath.IsAbs(port) || !strings.Contains(port, ":"):
		return "serial:" + port
	}
	return port
}

// unescape reads a flag's text as the inside of a Go string.
func unescape(flag, given string) ([]byte, error) {
	text, err := strconv.Unquote(`"` + given + `"`)
	if err != nil {
		return nil, fmt.Errorf("--%s: %q is no text with escapes such as \\r\\n", flag, given)
	}
	return []byte(text), nil
}

// listen puts what comes through a link on a sheet until ctx ends, or a recording has been played. A port that is lost
// comes back; one that fails before anything was known of its scale is an error.
func listen(ctx context.Context, link scaledrv.Link, shape scaledrv.Shape, opt scaledrv.Options, sheet *lineSheet) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	lines := make(chan scaledrv.Line, 64)
	opt.Heard = func(l scaledrv.Line) {
		l.Raw = bytes.Clone(l.Raw)
		lines <- l // taken until the driver has ended
	}
	driver := scaledrv.Start(ctx, link, shape, opt)
	var failed error
	for running, begun := true, false; running; {
		select {
		case l := <-lines:
			begun = true
			sheet.heard(l)
		case e, ok := <-driver.Events():
			for len(lines) > 0 { // what was heard before the event is told before it
				begun = true
				sheet.heard(<-lines)
			}
			switch running, begun = ok, begun || ok && e.Link != scaledrv.LinkDown; {
			case !ok:
			case scaledrv.RecordingEnded(e.Err):
				cancel()
			case e.Err != nil && !begun:
				failed = &failure{exitUnreachable, e.Err}
			default:
				sheet.happened(e, driver.Stats())
			}
		}
		if sheet.err != nil {
			failed = sheet.err
		}
		if failed != nil {
			cancel()
		}
	}
	if failed != nil {
		return failed
	}
	sheet.end(driver.Stats())
	return sheet.err
}
