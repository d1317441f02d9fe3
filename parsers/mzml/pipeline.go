package mzml

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
)

// Signals are decoded in batches, beside the scanner where there is more than one
// processor, and given to the sink in file order by the caller's goroutine. What is in
// flight, and so when a signal leaves, depends on the content alone: the sink sees the
// same calls however many processors there are.
const (
	batchBytes    = 128 << 10 // payload at which a batch is full
	batchSignals  = 512
	flightBatches = 8
	flightBytes   = 16 << 20 // payload and values, unless one signal has more
	workersMax    = 8
	idleValues    = 1 << 20 // values that the memory kept for later may hold
)

// batch is a run of signals.
type batch struct {
	items    []*item
	n        int // of items in use
	payload  int
	weight   int
	decoded  chan struct{} // closed or sent to when a worker is done; nil when decoded in place
	panicked any
}

// pipeline keeps the batches of one reading in order.
type pipeline struct {
	ratio   int
	own     arrayDecoder
	filling *batch
	flight  []*batch // oldest first
	free    []*batch
	weight  int

	jobs    chan *batch
	workers sync.WaitGroup
}

// slot gives the item for the signal that is read next. It stays the same until it is put.
func (p *pipeline) slot() *item {
	if p.filling == nil {
		if n := len(p.free); n > 0 {
			p.filling, p.free = p.free[n-1], p.free[:n-1]
		} else {
			p.filling = &batch{}
		}
	}
	b := p.filling
	if b.n == len(b.items) {
		it := &item{}
		it.reset()
		b.items = append(b.items, it)
	}
	return b.items[b.n]
}

// put takes up the signal that slot gave and reports whether the batch is full.
func (p *pipeline) put(it *item) (full bool) {
	b := p.filling
	b.n++
	b.payload += it.payloads
	b.weight += it.payloads
	for i := range it.arrays {
		b.weight += 8 * min(it.arrays[i].declared, decodedRatio*len(it.arrays[i].packed))
	}
	return b.payload >= batchBytes || b.n >= batchSignals
}

// start hands the batch that is being filled to a worker, or decodes it.
func (p *pipeline) start() {
	b := p.filling
	p.filling = nil
	p.flight = append(p.flight, b)
	p.weight += b.weight
	if p.jobs == nil {
		n := min(runtime.GOMAXPROCS(0), workersMax)
		if n < 2 || b.payload < batchBytes {
			b.decode(&p.own, p.ratio)
			return
		}
		p.jobs = make(chan *batch, flightBatches+1)
		for range n {
			p.workers.Go(p.work)
		}
	}
	b.decoded = make(chan struct{}, 1)
	p.jobs <- b
}

func (p *pipeline) work() {
	var d arrayDecoder
	defer d.close()
	for b := range p.jobs {
		b.attempt(&d, p.ratio)
		b.decoded <- struct{}{}
	}
}

// attempt decodes and keeps a panic for the caller's goroutine.
func (b *batch) attempt(d *arrayDecoder, ratio int) {
	defer func() {
		if v := recover(); v != nil {
			b.panicked = fmt.Sprintf("%v\n%s", v, debug.Stack())
		}
	}()
	b.decode(d, ratio)
}

func (b *batch) decode(d *arrayDecoder, ratio int) {
	for _, it := range b.items[:b.n] {
		it.decode(d, ratio)
	}
	d.shrink()
}

// full reports whether the oldest batch must leave before another starts.
func (p *pipeline) full() bool {
	return len(p.flight) > flightBatches || p.weight > flightBytes && len(p.flight) > 1
}

// oldest waits for the oldest batch and takes it out of flight.
func (p *pipeline) oldest() *batch {
	b := p.flight[0]
	p.flight = append(p.flight[:0], p.flight[1:]...)
	p.weight -= b.weight
	if b.decoded != nil {
		<-b.decoded
	}
	if b.panicked != nil {
		panic(b.panicked)
	}
	return b
}

// done takes the memory of a batch back.
func (p *pipeline) done(b *batch) {
	for _, it := range b.items[:b.n] {
		it.shrink()
	}
	*b = batch{items: b.items}
	p.free = append(p.free, b)
}

// close ends the workers. They finish the batch that they are at; what else is in flight is
// thrown away.
func (p *pipeline) close() {
	if p.jobs != nil {
		close(p.jobs)
		for b := range p.jobs {
			b.decoded <- struct{}{}
		}
		p.workers.Wait()
	}
	p.own.close()
}

// put takes up the signal just read, and lets the oldest leave for it where it must.
func (r *reading) put(it *item) error {
	if !r.pipe.put(it) {
		return nil
	}
	r.pipe.start()
	for r.pipe.full() {
		if err := r.leave(); err != nil {
			return err
		}
	}
	return nil
}

// drain lets all signals leave.
func (r *reading) drain() error {
	if b := r.pipe.filling; b != nil && b.n > 0 {
		r.pipe.start()
	}
	for len(r.pipe.flight) > 0 {
		if err := r.leave(); err != nil {
			return err
		}
	}
	return nil
}

// leave gives the signals of the oldest batch to the sink.
func (r *reading) leave() error {
	b := r.pipe.oldest()
	for _, it := range b.items[:b.n] {
		if err := r.emit(it); err != nil {
			return err
		}
	}
	r.pipe.done(b)
	return r.s.ctx.Err()
}
