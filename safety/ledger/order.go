package ledger

import (
	"fmt"
	"strconv"
	"strings"
)

// OrderID identifies an order for ever: the epoch of the daemon's run and a
// number that rises in it.
type OrderID struct {
	Epoch  uint32
	Number uint32
}

// String prints the id as it stands on the topics: 7-000123.
func (o OrderID) String() string { return string(o.Append(make([]byte, 0, 21))) }

// Append appends the id as String prints it.
func (o OrderID) Append(dst []byte) []byte {
	dst = append(strconv.AppendUint(dst, uint64(o.Epoch), 10), '-')
	for least := uint32(100_000); least > 1 && o.Number < least; least /= 10 {
		dst = append(dst, '0')
	}
	return strconv.AppendUint(dst, uint64(o.Number), 10)
}

// Key is the id as one number, rising over epochs.
func (o OrderID) Key() uint64 { return uint64(o.Epoch)<<32 | uint64(o.Number) }

// ParseOrderID reads what String prints.
func ParseOrderID(text string) (OrderID, error) {
	epochText, numberText, found := strings.Cut(text, "-")
	epoch, err1 := strconv.ParseUint(epochText, 10, 32)
	number, err2 := strconv.ParseUint(numberText, 10, 32)
	if !found || err1 != nil || err2 != nil || epoch == 0 || number == 0 {
		return OrderID{}, fmt.Errorf("order id %.40q: want EPOCH-NUMBER such as 7-000123", text)
	}
	return OrderID{Epoch: uint32(epoch), Number: uint32(number)}, nil
}
