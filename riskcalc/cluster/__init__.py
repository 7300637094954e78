"""Work spread over the machines of a cluster, with the bits of one: optional, and only where the user names an address."""

#: What is accepted where Dask or pyarrow is missing.
WITH_EXTRA = "an installation with the extra that it needs: pip install -e '.[cluster]' in the copy of the repository"
