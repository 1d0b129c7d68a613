"""pumpledger: what the pumps of a fleet of pools really did, week by week."""

__version__ = "0.1.0"
