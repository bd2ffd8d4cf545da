package store

import (
	"encoding/binary"
	"fmt"
	"io"
)

// The library takes every page for what it says it is: one that lies about its length fills the memory, or ends the program
// in a goroutine of the library's own. So the pages are looked at before, from their root, as the library lays them out:
//
//	page     id 8, kind 2 (1 branch, 2 leaf), elements 2, pages that follow it 4
//	branch   elements of 16 bytes: where its key begins 4, key's length 4, page 8
//	leaf     elements of 16 bytes: kind 4 (1 a bucket), where its key begins 4, key's length 4, value's length 4
//	bucket   a value that begins with its root page 8 and a counter 8; where the root is 0 a page lies in the value itself
//
// Where a key begins is counted from its own element. Numbers are in the order of the machine.
const (
	headBytes    = 16
	elementBytes = 16
	branchKind   = 1
	leafKind     = 2
)

// pages looks at the pages of a file.
type pages struct {
	file io.ReaderAt
	size uint64 // of a page
	end  uint64 // the first page that is not in use
	seen map[uint64]bool
}

// tree looks at a page and all that it leads to. Each is met once, which also bounds the depth.
func (p *pages) tree(id uint64) error {
	bad := func(what string) error { return fmt.Errorf("page %d of the file is damaged: %s", id, what) }
	if id < 2 || id >= p.end {
		return bad("there is none of this number")
	}
	head := make([]byte, headBytes)
	if _, err := p.file.ReadAt(head, int64(id*p.size)); err != nil {
		return err
	}
	more := uint64(binary.NativeEndian.Uint32(head[12:]))
	if binary.NativeEndian.Uint64(head) != id || id+more >= p.end {
		return bad("it is another one, or too long")
	}
	for i := id; i <= id+more; i++ {
		if p.seen[i] {
			return bad("something else leads to it as well")
		}
		p.seen[i] = true
	}
	b := make([]byte, (more+1)*p.size)
	if _, err := p.file.ReadAt(b, int64(id*p.size)); err != nil {
		return err
	}
	next, err := elements(b)
	if err != nil {
		return bad(err.Error())
	}
	for _, id := range next {
		if err := p.tree(id); err != nil {
			return err
		}
	}
	return nil
}

// elements looks at the elements of a page, and gives the pages that they lead to.
func elements(b []byte) (next []uint64, err error) {
	kind, n := binary.NativeEndian.Uint16(b[8:]), int(binary.NativeEndian.Uint16(b[10:]))
	if kind != branchKind && kind != leafKind || headBytes+n*elementBytes > len(b) || kind == branchKind && n == 0 {
		return nil, fmt.Errorf("it is of kind %d with %d elements", kind, n)
	}
	word := func(at int) uint64 { return uint64(binary.NativeEndian.Uint32(b[at:])) }
	for i := range n {
		at := headBytes + i*elementBytes
		if kind == branchKind {
			if uint64(at)+word(at)+word(at+4) > uint64(len(b)) {
				return nil, fmt.Errorf("element %d reaches beyond it", i)
			}
			next = append(next, binary.NativeEndian.Uint64(b[at+8:]))
			continue
		}
		from := uint64(at) + word(at+4) + word(at+8)
		to := from + word(at+12)
		if to > uint64(len(b)) {
			return nil, fmt.Errorf("element %d reaches beyond it", i)
		}
		if word(at) == 0 {
			continue
		}
		value := b[from:to]
		if len(value) < 16 {
			return nil, fmt.Errorf("element %d is no bucket", i)
		}
		if root := binary.NativeEndian.Uint64(value); root != 0 {
			next = append(next, root)
			continue
		}
		if len(value) < 16+headBytes {
			return nil, fmt.Errorf("element %d is no bucket", i)
		}
		if within, err := elements(value[16:]); err != nil || len(within) > 0 {
			return nil, fmt.Errorf("element %d is no bucket that lies in its place", i)
		}
	}
	return next, nil
}
