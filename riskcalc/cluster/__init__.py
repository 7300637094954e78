"""Work spread over the machines of a cluster, with the bits of one: optional, and only where the user names an address."""
