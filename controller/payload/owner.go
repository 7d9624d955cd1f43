package payload

// longestInstance is longer than any instance id: 16 hexadecimal digits.
const longestInstance = 64

// AppendOwner writes whose a station is: the daemon's instance and its epoch. Retained.
func AppendOwner(dst []byte, instance string, epoch uint32) []byte {
	e := object(dst)
	e.text("instance", instance)
	e.count("epoch", uint64(epoch))
	return e.end()
}

// ParseOwner reads whose a station is.
func ParseOwner(body []byte) (instance string, epoch uint32, err error) {
	fields, err := fieldsOf(body, "instance", "epoch")
	if err != nil {
		return "", 0, err
	}
	instance, epoch = fields.sentence("instance", longestInstance), fields.epoch()
	if fields.err == nil && instance == "" {
		fields.fail("instance", "the id of a daemon")
	}
	if fields.err != nil {
		return "", 0, fields.err
	}
	return instance, epoch, nil
}
