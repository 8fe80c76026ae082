"""One process that serves, others that compute: who may ask, who waits, who answers, and what is counted of it.

The serving process has one event loop. Endpoints that are coroutines look something up and are answered there; plain
functions compute, and their requests go as they came to a worker process, which runs the same application.
"""
