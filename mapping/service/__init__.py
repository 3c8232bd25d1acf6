"""The engine as a local service: the exam page, an answer for a visit, FHIR in and out. It keeps nothing of a visit.

A request goes through `guard` (names, origin, size), a route, and `workers` (the queue, the time limit) to a function
of `work`, which runs in another process and gives the whole reply. Tokens and hooks for a record system have their
place beside the routes; none is built yet.
"""
