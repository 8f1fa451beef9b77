package solver

// ProveFrom is Prove without the help of Bound.
var ProveFrom = proveFrom
