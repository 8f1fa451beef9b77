package weather

// ProfileOver is the wind profile over any roughness length, for comparison
// with values that others computed.
var ProfileOver = profileOver
