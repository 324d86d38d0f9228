package scaledrv

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReplaysDoNotLeak(t *testing.T) {
	path := recordingFile(t, "0.000 \"a\"\n3600.000 \"b\"\n")
	before := descriptors(t)
	for range 20 {
		port, err := parseLink(t, "replay:"+path).Open(t.Context())
		require.NoError(t, err)
		_, err = port.Read(make([]byte, 1))
		require.NoError(t, err)
		require.NoError(t, port.Close())
	}
	require.Equal(t, before, descriptors(t))
}
