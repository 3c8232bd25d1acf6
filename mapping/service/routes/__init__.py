"""The routes, by who uses them. A route chooses a task and a form; the work is done elsewhere."""

from layette.mapping.service.routes.asked import ask, sent

__all__ = ["ask", "sent"]
