"""A made-up fleet: pumps with physics of their own, loggers, faults and innocents, and the truth about all of them.

The pipeline never reads the truth, and nothing here imports the pipeline.
"""
