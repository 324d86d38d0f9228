package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

type checkCommand struct {
	Config    string   `placeholder:"FILE" help:"The configuration."`
	Materials []string `placeholder:"FILE" sep:"none" help:"Material cards as .yaml, .yml or .csv; may be given again."`
}

// Run checks every file, whatever is wrong with those before it. What can't be read matters more than what is wrong.
func (c checkCommand) Run(s streams) error {
	if c.Config == "" && len(c.Materials) == 0 {
		return &failure{exitUsage, errors.New("check: give --config, --materials or both")}
	}
	var worst *failure
	note := func(err error) {
		var f *failure
		if errors.As(err, &f) && (worst == nil || f.code > worst.code) {
			worst = f
		}
	}
	if c.Config != "" {
		_, err := loadConfig(c.Config, s)
		note(err)
	}
	for _, name := range c.Materials {
		_, err := readCards(name, s)
		note(err)
	}
	if worst == nil {
		return nil
	}
	return worst
}

// loadConfig reads a configuration. Its faults are results: each is one line on the output.
func loadConfig(name string, s streams) (config, error) {
	data, err := readFile(name, "the configuration")
	if err != nil {
		return config{}, err
	}
	cfg, faults := readConfig(data)
	for _, f := range faults {
		fmt.Fprintf(s.out, "%s:%d: %s: %s\n", name, f.line, f.key, f.detail)
	}
	if len(faults) > 0 {
		return config{}, &failure{code: exitFault}
	}
	return cfg, nil
}

func readFile(name, what string) ([]byte, error) {
	data, err := os.ReadFile(name)
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		err = p.Err
	}
	if err != nil {
		return nil, unreachable("read %s %q: %w", what, name, err)
	}
	return data, nil
}
