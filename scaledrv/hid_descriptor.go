package scaledrv

import "fmt"

// Bounds on what a device may say of itself; ours, but for the first, which is Linux's (from memory).
const (
	maxDescriptor = 4096 // bytes
	maxReportBits = 8192 // of one report, without its id
	maxFieldBits  = 32
	maxNesting    = 32 // of collections, and of Push
)

// hidKind is the way that a report goes.
type hidKind uint8

const (
	hidInput   hidKind = iota // from the device
	hidOutput                 // to it
	hidFeature                // either way, when the host asks
)

// hidReport names a report by its way and its id. The id is 0 where the device numbers none.
type hidReport struct {
	kind hidKind
	id   uint8
}

// hidDescriptor is what a device says of its reports (USB-IF Device Class Definition for HID 1.11, 6.2.2).
type hidDescriptor struct {
	scale    bool // it has an application of the Scales page
	numbered bool // each report begins with its id
	bits     map[hidReport]int
	fields   []hidField
}

// hidField is what one main item declares: count elements of size bits each. Padding is no field.
type hidField struct {
	report           hidReport
	bit, size, count int // the first bit behind the id, the bits of an element, the elements
	min, max         int64
	array            bool         // an element's value is the number of a usage; else each element has its own usage
	usages           []usageRange // one after the other
	in               uint32       // the usage of the innermost report collection of the Scales page around it; 0: none
}

// usageRange has the page in the upper 16 bits of its usages.
type usageRange struct {
	min, max uint32
	short    bool // still without its page
}

// usage is the i-th of a field's usages: 0 if an array has none of this number; a variable's last one holds for all that
// follow.
func (f *hidField) usage(i int64) uint32 {
	for _, r := range f.usages {
		n := int64(r.max-r.min) + 1
		if i < n {
			return r.min + uint32(i)
		}
		i -= n
	}
	if f.array || len(f.usages) == 0 {
		return 0
	}
	return f.usages[len(f.usages)-1].max
}

// parseHID reads a report descriptor. With an error, what was read before it stands in d.
func parseHID(b []byte) (d hidDescriptor, err error) {
	if len(b) > maxDescriptor {
		return d, fmt.Errorf("%d bytes, and a descriptor has at most %d", len(b), maxDescriptor)
	}
	p := hidParser{hidDescriptor: hidDescriptor{bits: map[hidReport]int{}}}
	for p.at < len(b) {
		n, err := p.item(b[p.at:])
		if err != nil {
			return p.hidDescriptor, err
		}
		p.at += n
	}
	if n := len(p.open); n > 0 {
		return p.hidDescriptor, fmt.Errorf("offset %d: collection is never closed", p.open[n-1].at)
	}
	return p.hidDescriptor, nil
}

// hidParser is the state between two items: globals hold until they change or are popped, locals until the next main item.
type hidParser struct {
	hidDescriptor
	at     int // offset of the item at hand
	global hidGlobal
	pushed []hidGlobal
	local  hidLocal
	open   []hidCollection
}

type hidGlobal struct {
	page        uint32
	min, max    int64
	maxUnsigned int64 // the same bytes as max, read without a sign
	size, count uint32
	id          uint8
}

// limits are the logical ones. A maximum below a minimum that is not negative was written without its sign: FF FF is
// 65535 there, as the systems in use read it.
func (g *hidGlobal) limits() (low, high int64) {
	if g.min >= 0 && g.max < g.min {
		return g.min, g.maxUnsigned
	}
	return g.min, g.max
}

type hidLocal struct {
	usages         []usageRange
	min, max       hidValue // of a range that has only one of them so far
	hasMin, hasMax bool
}

type hidCollection struct {
	at int
	in uint32 // as in hidField
}

// fault says where in the descriptor something is wrong.
func (p *hidParser) fault(format string, args ...any) error {
	return fmt.Errorf("offset %d: "+format, append([]any{p.at}, args...)...)
}

// hidValue is an item's data.
type hidValue struct {
	unsigned uint32
	signed   int32
	size     int // bytes
}

// usage is the data as a usage: with four bytes it has its page.
func (v hidValue) usage() usageRange { return usageRange{v.unsigned, v.unsigned, v.size < 4} }

func readHIDValue(b []byte) hidValue {
	v := hidValue{size: len(b)}
	for i, c := range b {
		v.unsigned |= uint32(c) << (8 * i)
	}
	switch len(b) {
	case 1:
		v.signed = int32(int8(v.unsigned))
	case 2:
		v.signed = int32(int16(v.unsigned))
	default:
		v.signed = int32(v.unsigned)
	}
	return v
}

// item takes the first item of b and gives its bytes.
func (p *hidParser) item(b []byte) (n int, err error) {
	if b[0] == 0xFE {
		return p.longItem(b)
	}
	size := [...]int{0, 1, 2, 4}[b[0]&3]
	if left := len(b) - 1; left < size {
		return 0, p.fault("item needs %d data bytes, %d are left", size, left)
	}
	v, tag := readHIDValue(b[1:1+size]), b[0]>>4
	switch b[0] >> 2 & 3 {
	case 0:
		err = p.main(tag, v)
	case 1:
		err = p.setGlobal(tag, v)
	case 2:
		err = p.setLocal(tag, v)
	} // the fourth type is reserved, and so without meaning
	return 1 + size, err
}

// longItem passes over an item of more data; none is defined.
func (p *hidParser) longItem(b []byte) (n int, err error) {
	const head = 3
	if len(b) < head {
		return 0, p.fault("long item ends in its head")
	}
	size, left := int(b[1]), len(b)-head
	if left < size {
		return 0, p.fault("long item says %d data bytes, %d are left", size, left)
	}
	return head + size, nil
}

func (p *hidParser) setGlobal(tag byte, v hidValue) error {
	g := &p.global
	switch tag {
	case 0x0:
		g.page = v.unsigned
	case 0x1:
		g.min = int64(v.signed)
	case 0x2:
		g.max, g.maxUnsigned = int64(v.signed), int64(v.unsigned)
	case 0x7:
		g.size = v.unsigned
	case 0x8:
		if v.unsigned == 0 || v.unsigned > 255 {
			return p.fault("Report ID %d is none of 1 to 255", v.unsigned)
		}
		g.id, p.numbered = uint8(v.unsigned), true
	case 0x9:
		g.count = v.unsigned
	case 0xA:
		if len(p.pushed) == maxNesting {
			return p.fault("Push: more than %d at a time", maxNesting)
		}
		p.pushed = append(p.pushed, *g)
	case 0xB:
		last := len(p.pushed) - 1
		if last < 0 {
			return p.fault("Pop without Push")
		}
		*g, p.pushed = p.pushed[last], p.pushed[:last]
	} // physical limits and units say nothing that the Scales page does not
	return nil
}

func (p *hidParser) setLocal(tag byte, v hidValue) error {
	l := &p.local
	switch tag {
	case 0x0:
		l.usages = append(l.usages, v.usage())
		return nil
	case 0x1:
		l.min, l.hasMin = v, true
	case 0x2:
		l.max, l.hasMax = v, true
	case 0xA:
		return p.fault("Delimiter: alternative usages are not read")
	}
	if !l.hasMin || !l.hasMax {
		return nil
	}
	low, high := l.min.usage(), l.max.usage()
	switch {
	case low.short != high.short || low.min>>16 != high.max>>16:
		return p.fault("Usage Minimum 0x%X and Usage Maximum 0x%X are not of one page", low.min, high.max)
	case low.min > high.max:
		return p.fault("Usage Minimum 0x%X above Usage Maximum 0x%X", low.min, high.max)
	}
	low.max = high.max
	l.usages = append(l.usages, low)
	l.hasMin, l.hasMax = false, false
	return nil
}

func (p *hidParser) main(tag byte, v hidValue) (err error) {
	for i := range p.local.usages {
		if r := &p.local.usages[i]; r.short {
			*r = usageRange{min: p.global.page<<16 | r.min, max: p.global.page<<16 | r.max}
		}
	}
	switch tag {
	case 0x8:
		err = p.field(hidInput, v.unsigned)
	case 0x9:
		err = p.field(hidOutput, v.unsigned)
	case 0xB:
		err = p.field(hidFeature, v.unsigned)
	case 0xA:
		err = p.begin(v.unsigned)
	case 0xC:
		if len(p.open) == 0 {
			return p.fault("End Collection without an open collection")
		}
		p.open = p.open[:len(p.open)-1]
	}
	p.local = hidLocal{}
	return err
}

// begin opens a collection.
func (p *hidParser) begin(kind uint32) error {
	const application = 1
	c := hidCollection{at: p.at, in: p.in()}
	if len(p.open) == maxNesting {
		return p.fault("collection: more than %d in each other", maxNesting)
	}
	if usages := p.local.usages; len(usages) > 0 && usages[0].min>>16 == scalesPage {
		p.scale = p.scale || kind == application
		if u := usages[0].min; usageAttributeReport <= u && u <= usageStatisticsReport {
			c.in = u
		}
	}
	p.open = append(p.open, c)
	return nil
}

// in is the usage of the report collection of the Scales page that is open.
func (p *hidParser) in() uint32 {
	if n := len(p.open); n > 0 {
		return p.open[n-1].in
	}
	return 0
}

// field takes the bits of a main item. They are bounded before they are counted, and never held one by one.
func (p *hidParser) field(kind hidKind, flags uint32) error {
	const constant, variable = 1, 2
	g, r := &p.global, hidReport{kind, p.global.id}
	low, high := g.limits()
	used := p.bits[r]
	switch {
	case flags&constant != 0:
	case g.size == 0 && g.count > 0:
		return p.fault("Report Size 0")
	case g.size > maxFieldBits:
		return p.fault("Report Size %d bits: fields wider than %d bits are refused", g.size, maxFieldBits)
	case low > high:
		return p.fault("Logical Minimum %d above Logical Maximum %d", low, high)
	}
	if bits := uint64(g.size) * uint64(g.count); uint64(used)+bits > maxReportBits {
		return p.fault("Report Count %d x Report Size %d bits: a report has at most %d bits", g.count, g.size, maxReportBits)
	}
	size, count := int(g.size), int(g.count) // of nothing, the other may be anything: it is not used
	p.bits[r] = used + size*count
	if flags&constant == 0 && size*count > 0 {
		p.fields = append(p.fields, hidField{report: r, bit: used, size: size, count: count, min: low, max: high,
			array: flags&variable == 0, usages: p.local.usages, in: p.in()})
	}
	return nil
}
