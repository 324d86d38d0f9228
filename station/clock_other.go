//go:build !linux

package station

// systemClock takes the clock to be right: desktops keep theirs without power.
func systemClock() clock { return clock{synchronised: true} }
