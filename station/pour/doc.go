// Package pour watches one pan and guides one hand: from readings come motion, what happened at the pan (a cup placed,
// lifted, a key of the scale pressed), the flow, and the cue. It is pure: time comes in with the readings, a Pan and a
// Guide are plain values that can be copied, and the same readings give the same cues.
package pour
