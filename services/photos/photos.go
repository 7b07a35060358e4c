// Package photos keeps pictures by the digest of what is kept: our own encoding of
// what came, without whatever else a camera wrote into it.
package photos

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	_ "image/png" // read besides JPEG
	"math"

	"bydark/events"
	"bydark/events/journal"

	"github.com/kovidgoyal/imaging"
)

const (
	// MostBytes is how large a picture may come.
	MostBytes = 16 << 20
	// mostPixels is looked at before a picture is decoded: a small file can unfold to
	// gigabytes.
	mostPixels = 40_000_000
	// longestSide is how large a picture is kept.
	longestSide = 2048
	quality     = 82
)

// Photos keeps pictures in the log's object store. Two are decoded at once at most.
type Photos struct {
	log  *journal.Journal
	room chan struct{}
}

// New keeps pictures beside a log.
func New(log *journal.Journal) *Photos {
	const atOnce = 2
	return &Photos{log, make(chan struct{}, atOnce)}
}

// Keep decodes a JPEG or PNG, turns it the right way up, writes it anew as a JPEG
// without any metadata, and keeps that. What is no picture, or too large a one, is an
// *events.Refusal.
func (p *Photos) Keep(ctx context.Context, data []byte) (events.PhotoDigest, error) {
	c, format, err := image.DecodeConfig(bytes.NewReader(data))
	switch {
	case err != nil || format != "jpeg" && format != "png":
		return "", &events.Refusal{Code: "unreadable-picture", Was: format, Want: "a JPEG or PNG picture"}
	case c.Width <= 0 || c.Height <= 0 || int64(c.Width)*int64(c.Height) > mostPixels:
		return "", &events.Refusal{Code: "too-many-pixels", Was: fmt.Sprintf("%d by %d", c.Width, c.Height), Want: fmt.Sprintf("%d pixels at most", mostPixels)}
	}
	select {
	case p.room <- struct{}{}:
		defer func() { <-p.room }()
	case <-ctx.Done():
		return "", ctx.Err()
	}
	picture, err := imaging.Decode(bytes.NewReader(data), imaging.AutoOrientation(true))
	if err != nil {
		return "", &events.Refusal{Code: "unreadable-picture", Was: "a picture that breaks off", Want: "a whole JPEG or PNG"}
	}
	if b := picture.Bounds(); max(b.Dx(), b.Dy()) > longestSide {
		scale := float64(longestSide) / float64(max(b.Dx(), b.Dy()))
		picture = imaging.Resize(picture, int(math.Max(1, math.Round(float64(b.Dx())*scale))), 0, imaging.CatmullRom)
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, picture, &jpeg.Options{Quality: quality}); err != nil {
		return "", fmt.Errorf("encode a picture: %w", err)
	}
	d, err := p.log.PutObject(ctx, out.Bytes())
	if err != nil {
		return "", fmt.Errorf("keep a picture: %w", err)
	}
	return events.PhotoDigest(d.String()), nil
}

// ErrNotFound says that no picture has the digest.
var ErrNotFound = errors.New("no such picture")

// Picture is a kept picture, a JPEG, whole and proven by its digest.
func (p *Photos) Picture(ctx context.Context, digest events.PhotoDigest) ([]byte, error) {
	d, err := journal.ParseDigest(string(digest))
	if err != nil {
		return nil, ErrNotFound
	}
	data, err := p.log.Object(ctx, d)
	if errors.Is(err, journal.ErrNotFound) {
		return nil, ErrNotFound
	}
	return data, err
}
