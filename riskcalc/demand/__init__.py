"""Electricity demand of one home at the resolution that decides what a small inverter can serve.

`appliances` holds the published table, `events` turns it into pool years, `meter` reads the home's own meter file,
`pool` is what both hand on. Nothing is imported here, so that the list of appliances costs no compiled code.
"""
