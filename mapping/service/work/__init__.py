"""What workers do, a function a task: bytes in, a whole reply out. Nothing here knows of the network."""

from layette.mapping.service.work.job import Job
from layette.mapping.service.work.tasks import perform, warm

__all__ = ["Job", "perform", "warm"]
