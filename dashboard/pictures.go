package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"sync"
)

// The longer edges in which pictures are made; what is asked for is rounded up.
var pictureEdges = []int{256, 512, 1024, 2048}

const usualEdge = 1024

// keptPictures bounds the pictures that are kept, in bytes: two dozen at the largest edge.
const keptPictures = 32 << 20

// pictures makes each picture once, one at a time: looking must not keep the
// machine from measuring.
type pictures struct {
	make func(ctx context.Context, frame, edge int) ([]byte, error)

	mu    sync.Mutex
	kept  map[pictureKey][]byte
	order []pictureKey // oldest first
	bytes int
	turn  chan struct{} // holds one token; who has it may make a picture
}

type pictureKey struct{ frame, revision, edge int }

func newPictures(make_ func(ctx context.Context, frame, edge int) ([]byte, error)) *pictures {
	return &pictures{make: make_, kept: map[pictureKey][]byte{}, turn: make(chan struct{}, 1)}
}

func (p *pictures) get(ctx context.Context, k pictureKey) ([]byte, error) {
	if jpeg, ok := p.look(k); ok {
		return jpeg, nil
	}
	select {
	case p.turn <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-p.turn }()
	if jpeg, ok := p.look(k); ok { // another caller made it while this one waited
		return jpeg, nil
	}
	jpeg, err := p.make(ctx, k.frame, k.edge)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept[k] = jpeg
	p.order = append(p.order, k)
	for p.bytes += len(jpeg); p.bytes > keptPictures && len(p.order) > 1; p.order = p.order[1:] {
		p.bytes -= len(p.kept[p.order[0]])
		delete(p.kept, p.order[0])
	}
	return jpeg, nil
}

func (p *pictures) look(k pictureKey) ([]byte, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	jpeg, ok := p.kept[k]
	return jpeg, ok
}

// servePicture is GET /api/v1/frames/{n}/picture?edge=. Its tag is made of the frame's
// revision, so a page asks again for free.
func (s *Server) servePicture(w http.ResponseWriter, r *http.Request, who Device) error {
	n, err := number(r.PathValue("n"), "the frame")
	if err != nil {
		return err
	}
	edge := usualEdge
	if text := r.URL.Query().Get("edge"); text != "" {
		if edge, err = number(text, "edge"); err != nil {
			return err
		}
	}
	k := pictureKey{frame: n, edge: pictureEdges[len(pictureEdges)-1]}
	for _, e := range pictureEdges {
		if edge <= e {
			k.edge = e
			break
		}
	}
	f, ok := frameOf(s.cfg.Shoot.Snapshot(), n)
	if !ok {
		return errNoPicture
	}
	k.revision = f.Revision
	tag := fmt.Sprintf(`"%d-%d-%d"`, k.frame, k.revision, k.edge)
	w.Header().Set("ETag", tag)
	w.Header().Set("Cache-Control", "private, no-cache")
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	jpeg, err := s.pictures.get(r.Context(), k)
	if err != nil {
		w.Header().Del("ETag")
		w.Header().Set("Cache-Control", "no-store")
		return err
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Content-Length", strconv.Itoa(len(jpeg)))
	_, _ = w.Write(jpeg)
	return nil
}
