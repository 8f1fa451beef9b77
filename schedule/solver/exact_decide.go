package solver

// cuts are the places at which a window can be cut in two: cut x of activity i
// asks whether it starts at slot x or later. They are kept by how often they
// took part in dead ends lately (VSIDS, Moskewicz et al. 2001), in a heap.
type cuts struct {
	first  []int32 // by activity: number of its first cut
	lowest []int32 // by activity: slot of its first cut
	owner  []int32 // by cut
	weight []float64
	step   float64
	heap   []int32
	place  []int32 // by cut: index in heap, -1 = not in it
	taken  []int32 // cuts taken from the heap
	marks  []int32 // by level: how many had been taken when it began
}

func newCuts(bound []int32) cuts {
	c := cuts{step: 1}
	for i := range len(bound) / 2 {
		low, high := bound[2*i], -bound[2*i+1]
		c.first, c.lowest = append(c.first, int32(len(c.owner))), append(c.lowest, low)
		for range high - low + 2 {
			c.owner, c.place = append(c.owner, int32(i)), append(c.place, -1)
		}
	}
	c.weight = make([]float64, len(c.owner))
	return c
}

// of gives the cut that a literal speaks of.
func (c *cuts) of(l literal) int32 {
	slot := l.value
	if l.side&1 == 1 {
		slot = 1 - l.value
	}
	i := l.side / 2
	return c.first[i] + slot - c.lowest[i]
}

func (c *cuts) slot(cut int32) int32 {
	i := c.owner[cut]
	return cut - c.first[i] + c.lowest[i]
}

// bump makes a cut weigh more, and puts it into the heap when it has never been
// there.
func (c *cuts) bump(l literal) {
	cut := c.of(l)
	fresh := c.weight[cut] == 0
	c.weight[cut] += c.step
	if fresh {
		c.push(cut)
	} else if c.place[cut] >= 0 {
		c.up(int(c.place[cut]))
	}
}

// age makes what comes later weigh more.
func (c *cuts) age() {
	if c.step /= 0.95; c.step < 1e100 {
		return
	}
	for k := range c.weight {
		c.weight[k] *= 1e-100
	}
	c.step *= 1e-100
}

func (c *cuts) before(a, b int32) bool {
	return c.weight[a] > c.weight[b] || c.weight[a] == c.weight[b] && a < b
}

func (c *cuts) push(cut int32) {
	c.place[cut] = int32(len(c.heap))
	c.heap = append(c.heap, cut)
	c.up(len(c.heap) - 1)
}

func (c *cuts) up(k int) {
	cut := c.heap[k]
	for k > 0 && c.before(cut, c.heap[(k-1)/2]) {
		c.set(k, c.heap[(k-1)/2])
		k = (k - 1) / 2
	}
	c.set(k, cut)
}

func (c *cuts) set(k int, cut int32) { c.heap[k], c.place[cut] = cut, int32(k) }

func (c *cuts) pop() int32 {
	top, end := c.heap[0], len(c.heap)-1
	last := c.heap[end]
	c.heap = c.heap[:end]
	c.place[top] = -1
	if end > 0 {
		k := 0
		for {
			child := 2*k + 1
			if child+1 < end && c.before(c.heap[child+1], c.heap[child]) {
				child++
			}
			if child >= end || !c.before(c.heap[child], last) {
				break
			}
			c.set(k, c.heap[child])
			k = child
		}
		c.set(k, last)
	}
	return top
}

// putBack returns to the heap what was taken on higher levels.
func (c *cuts) putBack(level int) {
	for _, cut := range c.taken[c.marks[level]:] {
		if c.place[cut] < 0 {
			c.push(cut)
		}
	}
	c.taken = c.taken[:c.marks[level]]
	c.marks = c.marks[:level]
}

// decide cuts one window in two. Unless any length is asked for, the first
// decision is always the length: the least that is not refuted. false = all windows are single slots.
func (p *prover) decide() bool {
	side, value, ok := int32(2*p.sink+1), -p.bound[2*p.sink], true
	p.order.marks = append(p.order.marks, int32(len(p.order.taken)))
	if p.near != nil || p.level() > 0 || p.bound[side] >= value {
		side, value, ok = p.nextCut()
	}
	if !ok {
		return false
	}
	p.levels = append(p.levels, int32(len(p.trail)))
	return p.raise(side, value, reason{kind: decided})
}

// nextCut takes the weightiest cut that is open, towards where the activity
// stood last; without one, the activity that can start first starts then.
func (p *prover) nextCut() (side, value int32, ok bool) {
	for len(p.order.heap) > 0 {
		cut := p.order.pop()
		p.order.taken = append(p.order.taken, cut)
		i, slot := p.order.owner[cut], p.order.slot(cut)
		if p.bound[2*i] < slot && slot <= -p.bound[2*i+1] {
			if p.phase[i] >= slot {
				return 2 * i, slot, true
			}
			return 2*i + 1, 1 - slot, true
		}
	}
	best := int32(-1)
	for i := range int32(p.sink) {
		low, high := p.bound[2*i], -p.bound[2*i+1]
		if low == high {
			continue
		}
		if best < 0 || low < p.bound[2*best] || low == p.bound[2*best] && high < -p.bound[2*best+1] {
			best = i
		}
	}
	if best < 0 {
		return 0, 0, false
	}
	return 2*best + 1, -p.bound[2*best], true
}
