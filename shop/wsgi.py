import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

application = get_wsgi_application()

# A price makes tens of thousands of small values and throws them away together. Looking for circles among them, and each
# time through all of Django, takes as long as the price: see docs/decisions/collect-garbage-less-often.md.
gc.collect()
gc.freeze()
gc.set_threshold(50_000, 20, 50)
