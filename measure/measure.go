package measure

import (
	"context"
	"errors"

	"dentcount/photo"
)

// ErrNotBuilt is returned until the measuring stages are in place.
var ErrNotBuilt = errors.New("measuring is not built yet")

// Photo measures the part in one photo. A photo in which nothing can be
// measured is a Result with status Refused, not an error; an error is a fault
// of the machine or a cancelled ctx. It does not close p.
func Photo(ctx context.Context, p *photo.Photo, opt Options) (Result, error) {
	return Result{}, ErrNotBuilt
}
