"""The judgement, pure: plain values in, frozen values out. No database, no clock, no chance.

=================  =====================================================================
``inputs``         what a price is made from: catalogue, parts, steps, policy
``money``          currencies, the one rounding function, sharing, instalments
``labour``         standard time, expected time
``consumables``    usage by measure, film, powder, smallest mix
``vendor_work``    the price rule of a vendor job
``batches``        which steps share a set-up or a lot
``rework``         what doing it again costs, exactly
``plating``        when zinc or chrome must be refused, or baked
``pricing``        cost class to price, floor, discount, tax, instalments
``rollup``         all of it for one restoration
``figures``        every figure with the inputs it came from
``formulas``       the named variants, so that old quotes recompute for ever
``canonical``      the same bytes for the same values
=================  =====================================================================
"""
