package web

import (
	"context"
	"slices"
	"sync"
)

// queue runs jobs a few at a time, in the order they came, and tells each how
// many are before it.
type queue struct {
	ctx  context.Context
	jobs int

	mu      sync.Mutex
	running int
	waiting []*job
	wg      sync.WaitGroup
}

// job is one piece of measuring.
type job struct {
	ctx  context.Context
	run  func(context.Context)
	done chan struct{} // closed when it has run, or will not
}

func newQueue(ctx context.Context, jobs int) *queue { return &queue{ctx: ctx, jobs: jobs} }

// add puts run into the queue; at its front where a person is waiting for a
// mended answer. The job is dropped when ctx ends before its turn; run must
// heed the context it is given.
func (q *queue) add(ctx context.Context, front bool, run func(context.Context)) *job {
	j := &job{ctx: ctx, run: run, done: make(chan struct{})}
	q.mu.Lock()
	defer q.mu.Unlock()
	if front {
		q.waiting = slices.Insert(q.waiting, 0, j)
	} else {
		q.waiting = append(q.waiting, j)
	}
	q.next()
	context.AfterFunc(ctx, func() { q.drop(j) })
	return j
}

// next starts what has room. q.mu is held.
func (q *queue) next() {
	for q.running < q.jobs && len(q.waiting) > 0 {
		j := q.waiting[0]
		q.waiting = q.waiting[1:]
		if j.ctx.Err() != nil || q.ctx.Err() != nil {
			close(j.done)
			continue
		}
		q.running++
		q.wg.Go(func() { q.work(j) })
	}
	if len(q.waiting) == 0 {
		q.waiting = nil // lets go of the jobs that were sliced off
	}
}

func (q *queue) work(j *job) {
	ctx, cancel := context.WithCancel(j.ctx)
	stop := context.AfterFunc(q.ctx, cancel)
	defer func() {
		stop()
		cancel()
		close(j.done)
		q.mu.Lock()
		defer q.mu.Unlock()
		q.running--
		q.next()
	}()
	j.run(ctx)
}

// drop takes a job that has not begun out of the queue.
func (q *queue) drop(j *job) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if i := slices.Index(q.waiting, j); i >= 0 {
		q.waiting = slices.Delete(q.waiting, i, i+1)
		close(j.done)
	}
}

// ahead is how many jobs come before j; waiting is false where j has begun.
func (q *queue) ahead(j *job) (n int, waiting bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	i := slices.Index(q.waiting, j)
	return q.running + i, i >= 0
}

// wait returns when nothing runs any more.
func (q *queue) wait() { q.wg.Wait() }
