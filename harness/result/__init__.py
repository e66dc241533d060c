"""What a check found: findings, results, the report; and wording that every part shares."""
