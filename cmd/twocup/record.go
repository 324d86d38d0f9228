package main

import (
	"log/slog"
	"path/filepath"
	"time"

	"twocup/scaledrv"
	"twocup/station"
)

// record puts a recording around the link of each station's scale. Stop ends them all, also those made before an error.
func record(stations []station.Config, dir string, log *slog.Logger) (stop func(), err error) {
	var closers []func() error
	stop = func() {
		for _, end := range closers {
			if err := end(); err != nil {
				log.Warn("close a recording", "err", err)
			}
		}
	}
	now := time.Now()
	for i := range stations {
		st := &stations[i]
		path := filepath.Join(dir, scaledrv.RecordingName(st.ID, st.Scale.ID, now))
		file, err := scaledrv.CreateRecording(path)
		if err != nil {
			return stop, err
		}
		recording := scaledrv.Record(st.Link, file, st.Shape, log.With("station", st.ID, "file", path))
		st.Link = recording
		closers = append(closers, recording.Close, file.Close)
	}
	return stop, nil
}
