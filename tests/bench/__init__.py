import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the shop has it
