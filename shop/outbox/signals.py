from django.dispatch import Signal

# Sent once in a process that is about to run background jobs, before it has connections, threads or children.
background_starts = Signal()
