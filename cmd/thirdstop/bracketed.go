package main

import (
	"errors"

	"thirdstop/assess"
	"thirdstop/assess/tone"
)

// Shot gives the frame as one of a tone curve's bracket. The key is the camera's even where the frame can't serve.
func (m measured) Shot() (assess.Shot, tone.Key, error) {
	key, ok := assess.CurveKey(m.p)
	if !ok {
		return assess.Shot{}, key, errors.New("it is not as a camera wrote it (edited, exported, by a phone or without camera data), so it has no curve of a camera's own; use the camera's files")
	}
	shot, err := assess.BracketShot(m.p)
	return shot, key, err
}
