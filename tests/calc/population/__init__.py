"""Simulated instruments, the jobs that a policy makes of them, and the table that compares policies.

The instruments share no assumption with the calculations under test: neck, strings, rod, creep, hands, tools
and slips are worked out again from first principles. Every range is judgement unless its line says otherwise.
"""
