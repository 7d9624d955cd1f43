package chem

// iso7888 are the factors f25 that bring the conductivity of natural water at
// 0, 1, 2 … 35 °C to 25 °C: ISO 7888 / EN 27888, as printed in a conductivity
// meter's manual (reference iso7888_f25.csv). Specified for 60 to 1000 µS/cm,
// below most nutrient solutions, whose own coefficient is smaller: see
// TemperatureCoefficient.
var iso7888 = [...]float64{
	1.918, 1.857, 1.800, 1.745, 1.693, 1.643, 1.596, 1.551, 1.508, 1.467,
	1.428, 1.390, 1.354, 1.320, 1.287, 1.256, 1.225, 1.196, 1.168, 1.141,
	1.116, 1.091, 1.067, 1.044, 1.021, 1.000, 0.979, 0.959, 0.940, 0.921,
	0.903, 0.886, 0.869, 0.853, 0.837, 0.822,
}

// ISO7888 is the factor f25 by which a meter set to ISO 7888 multiplies the
// conductivity it measures at tempC. Linear between the degrees, 0 to 35 °C;
// false outside.
func ISO7888(tempC float64) (f25 float64, ok bool) {
	if !(tempC >= 0 && tempC <= float64(len(iso7888)-1)) {
		return 0, false
	}
	i := int(tempC)
	if i == len(iso7888)-1 {
		return iso7888[i], true
	}
	return iso7888[i] + float64((tempC-float64(i))*(iso7888[i+1]-iso7888[i])), true
}
