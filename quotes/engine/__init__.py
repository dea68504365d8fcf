"""The judgement, pure: plain values in, frozen values out. No database, no clock, no chance but a given seed.

=================  =====================================================================
``inputs``         what a price is made from: catalogue, parts, steps, policy
``money``          currencies, the one rounding function, sharing, instalments
``labour``         standard time, expected time
``consumables``    usage by measure, film, powder, smallest mix
``vendor_work``    the price rule of a vendor job
``batches``        which steps share a set-up or a lot
``rework``         what doing it again costs, exactly
``damage``         what strip-down may reveal, as an expected cost and as an event
``evidence``       which finish a part had, from what says so; ``wrong_finish`` what doubt costs
``look_ups``       what looking something up is worth
``calendars``      working minutes on hours, holidays and held days
``network``        the merged graph of batches and lots; ``passes`` forward and backward over it
``plan``           the days of every step, lot and order; ``planned`` as plain values
``chance``         contingency, the day that is kept, what moves a quote (floats and numpy live here)
``comparing``      what changed between two versions, one change after the other
``plating``        when zinc or chrome must be refused, or baked
``pricing``        cost class to price, floor, discount, tax, instalments
``margin``         the weekly review: budgets, variances, forecast
``rollup``         all of it for one restoration
``figures``        every figure with the inputs it came from
``formulas``       the named variants, so that old quotes recompute for ever
``canonical``      the same bytes for the same values
=================  =====================================================================
"""
