package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

type checkCommand struct {
	Config string `required:"" placeholder:"FILE" help:"The configuration."`
}

func (c checkCommand) Run(s streams) error {
	_, err := loadConfig(c.Config, s)
	return err
}

// loadConfig reads a configuration. Its faults are results: each is one line on the output.
func loadConfig(name string, s streams) (config, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		if p := (*fs.PathError)(nil); errors.As(err, &p) {
			err = p.Err
		}
		return config{}, unreachable("read the configuration %q: %w", name, err)
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
