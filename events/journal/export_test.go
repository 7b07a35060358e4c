package journal

// ReplicaFaults is replicaFaults.
var ReplicaFaults = replicaFaults
