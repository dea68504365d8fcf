"""The weekly margin review, pure: what was budgeted, what was spent, why they differ, what a job will still leave.

==============  ==================================================================================
``exact``       sums that never round
``budgets``     what an accepted quote allows each step, and a job
``spending``    what went into a step: first pass and again, by cost class
``variances``   why actual cost is not earned value: named terms that add up exactly
``earned``      earned value: 0/100 per step, indices, the three completion rules
``performance`` how a job's hours go against its budget, shrunk while little is done
``forecast``    what a job will have cost when it is done, and what it still leaves
``changes``     why that is not what it was last week
``ledger``      the flows of job-order costing in double entry
``ranking``     which jobs to look at first, margin bands, cost of poor quality
==============  ==================================================================================
"""
